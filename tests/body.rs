//! A body bought as a model: its virtual halves against halves that were really cut, and as the program's users meet them.

use moldvet::body::{self, BodyConfig, MARGIN};
use moldvet::mesh::{self, Model, Vector};
use moldvet::report::{Half, Report, Verdict};
use moldvet::shop::Shop;
use moldvet::units::Unit;
use moldvet::vet::{CheckConfig, check};
use serde_json::Value;
use std::fs;
use std::path::Path;
use std::process::{Command, Output, Stdio};

fn data(name: &str) -> Model {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/data/spot")
        .join(name);
    mesh::read(&path, Unit::Mm, &mesh::Limits::default()).unwrap()
}

/// Four balls, one long stickout, coarse cells: figures of volume and hidden area do not need finer ones.
fn config() -> CheckConfig {
    let mut shop = Shop::builtin();
    shop.with_balls(vec![1.0, 2.0, 3.0, 6.0]).unwrap();
    shop.with_stickouts(vec![40.0]).unwrap();
    // what the 2 mm ball leaves in this model's folds, by an independent measurement, is under 1 mm, the 3 mm ball more
    shop.limits.leave = 1.1;
    CheckConfig {
        shop,
        axis: None,
        cell: Some(0.2),
        not_cavity: Vec::new(),
        meets: Vec::new(),
        fill_density: None,
    }
}

fn look(model: &Model, pull: Option<Vector>) -> body::Outcome {
    let config = BodyConfig {
        check: config(),
        pull,
        level: None,
        scale: 1.0,
        margin: MARGIN,
    };
    body::vet(model, &config, &|_| ()).unwrap()
}

fn hidden(half: &Half) -> f64 {
    half.undercut.hidden_area_mm2.unwrap()
}

#[test]
fn virtual_halves_are_like_those_that_were_cut() {
    let outcome = look(&data("spot-body.stl"), Some(Vector::z()));
    let part = outcome.report.body.as_ref().unwrap();
    // the halves were cut at Z = 0, in the model's plane of symmetry
    assert!(
        part.parting_level_mm.abs() < 1e-6,
        "{}",
        part.parting_level_mm
    );
    // volume of the body and of the hollows by the boolean operation that cut them, exact for the meshes
    assert!((part.fill_volume_mm3 / 30600.90 - 1.0).abs() < 1e-6);
    let cut = ["spot-lower.stl", "spot-upper.stl"].map(data);
    let config = CheckConfig {
        axis: Some(Vector::z()),
        ..config()
    };
    let cut = check(&cut, &config, &|_| ()).unwrap();
    for ((own, cut), hollow) in outcome
        .report
        .halves
        .iter()
        .zip(&cut.halves)
        .zip([15300.41, 15300.50])
    {
        let volume = |half: &Half| half.cavity.volume_mm3.unwrap();
        assert!((volume(own) / hollow - 1.0).abs() < 2e-3, "{}", volume(own));
        assert!((volume(own) / volume(cut) - 1.0).abs() < 2e-3);
        assert!(
            (hidden(own) / hidden(cut) - 1.0).abs() < 0.03,
            "{} {}",
            hidden(own),
            hidden(cut)
        );
        assert_eq!(
            own.reach.smallest_ball_needed,
            cut.reach.smallest_ball_needed
        );
        assert_eq!(own.reach.best_ball, cut.reach.best_ball);
        assert!(
            own.reach.smallest_ball_needed.is_some(),
            "nothing was compared"
        );
        assert!(own.mesh.closed);
        // blocks as they were cut, X and Y may be swapped
        let mut size = own.mesh.size_mm;
        size.sort_by(f64::total_cmp);
        for (own, cut) in size.iter().zip([26.470, 79.040, 80.000]) {
            assert!((own - cut).abs() < 2e-3, "{size:?}");
        }
    }
}

#[test]
fn written_halves_are_as_an_independent_library_found_them() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/halves_reference.json");
    let reference: Value = serde_json::from_slice(&fs::read(path).unwrap()).unwrap();
    let outcome = look(&data("spot-body.stl"), Some(Vector::z()));
    assert_eq!(outcome.halves.len(), 2);
    for half in &outcome.halves {
        let stored = &reference["spot"][half.name];
        assert_eq!(stored["watertight"], true);
        assert_eq!(stored["winding_consistent"], true);
        // a block with a bowl in it is a ball to topology: V - E + F = 2; handles of the cavity wall take 2 each
        assert_eq!(stored["triangles"], half.facets.len());
        let model =
            mesh::from_bytes(&half.stl(), half.name, Unit::Mm, &mesh::Limits::default()).unwrap();
        let volume = model.bodies[0].mesh.signed_volume();
        assert!(
            (volume / stored["volume_mm3"].as_f64().unwrap() - 1.0).abs() < 1e-6,
            "{volume}"
        );
        let block = 80.0 * 79.04 * 26.47;
        let hollow = if half.name == "lower" {
            15300.41
        } else {
            15300.50
        };
        assert!((volume - (block - hollow)).abs() < 20.0, "{volume}");
    }
}

fn run(folder: &Path, line: &str) -> Output {
    Command::new(env!("CARGO_BIN_EXE_moldvet"))
        .args(line.split_whitespace())
        .current_dir(folder)
        .stdin(Stdio::null())
        .output()
        .unwrap()
}

fn report(folder: &Path, line: &str, status: i32) -> Report {
    let output = run(folder, line);
    let told = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(status), "{line}: {told}");
    serde_json::from_slice(&output.stdout).unwrap()
}

/// A frustum of 20 x 20 below and 16 x 16 above, 12 high, with a hole of 4 x 4 through it along X if asked for; OBJ.
fn frustum() -> String {
    let mut text = String::new();
    for [x, y, z] in [
        [-10, -10, 0],
        [10, -10, 0],
        [10, 10, 0],
        [-10, 10, 0],
        [-8, -8, 12],
        [8, -8, 12],
        [8, 8, 12],
        [-8, 8, 12],
    ] {
        text += &format!("v {x} {y} {z}\n");
    }
    text + "f 4 3 2 1\nf 5 6 7 8\nf 1 2 6 5\nf 2 3 7 6\nf 3 4 8 7\nf 4 1 5 8\n"
}

#[test]
fn a_sound_body_gives_halves_that_check_alike() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("part.obj"), frustum()).unwrap();
    // sharp edges: the rack's flat cutter leaves none along the floor, yet four upright ones stay
    let judged = "--ball 2 --stickout 30 --cell 0.2 --leave 2 --json -";
    let line = format!("body --units mm --write-halves . {judged} part.obj");
    let of_body = report(folder.path(), &line, 0);
    let part = of_body.body.as_ref().unwrap();
    assert_eq!(part.pulls[0].direction, [0.0, 0.0, 1.0]);
    assert_eq!(part.parting_level_mm, 0.0);
    // a frustum: 12 / 3 (20² + 20 · 16 + 16²)
    assert!((part.fill_volume_mm3 - 3904.0).abs() < 1e-9);
    assert_eq!(
        part.blocks.iter().map(|b| b.has_cavity).collect::<Vec<_>>(),
        [false, true]
    );
    assert_eq!(of_body.halves.len(), 1);
    assert_eq!(of_body.halves[0].file, "part-upper.stl");
    let line = format!("check --units mm {judged} part-upper.stl");
    let mut checked = report(folder.path(), &line, 0);
    // the check found the axis by itself
    checked.halves[0]
        .tool_axis_why
        .clone_from(&of_body.halves[0].tool_axis_why);
    assert_eq!(of_body.halves, checked.halves);
    let line = format!("check --units mm {judged} part-lower.stl part-upper.stl");
    let both = run(folder.path(), &line);
    assert_eq!(
        both.status.code(),
        Some(0),
        "{}",
        String::from_utf8_lossy(&both.stdout)
    );
}

#[test]
fn a_body_that_cannot_be_pulled_says_so_first() {
    // a ball-like block with a notch cut in from each of three sides hides whatever the pull: three bars crossed in space
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("jack.obj"), jack()).unwrap();
    let line = "body --units mm --ball 2 --stickout 30 --cell 0.3 --json - jack.obj";
    let told = report(folder.path(), line, 1);
    assert_eq!(told.verdict, Verdict::Fail);
    assert_eq!(told.findings[0].check, "body");
    assert!(
        told.findings[0]
            .message
            .starts_with("This body cannot be pulled"),
        "{:?}",
        told.findings[0]
    );
    let pull = &told.body.as_ref().unwrap().pulls[0];
    assert!(pull.hidden_area_mm2 > pull.hidden_area_mm2_pm && pull.hook_mm > 0.0);
}

/// A cube of 30 with a blind square hole of 10 x 10, 8 deep, in the middle of each side: along any direction
/// some hole's walls and floor hide.
fn jack() -> String {
    let mut places: Vec<[i32; 3]> = Vec::new();
    let mut faces: Vec<Vec<usize>> = Vec::new();
    let mut face = |corners: Vec<[i32; 3]>, turned: bool| {
        let mut numbers: Vec<usize> = corners
            .into_iter()
            .map(|p| {
                places.iter().position(|q| *q == p).unwrap_or_else(|| {
                    places.push(p);
                    places.len() - 1
                })
            })
            .collect();
        if turned {
            numbers.reverse();
        }
        faces.push(numbers);
    };
    let square = [[-1, -1], [1, -1], [1, 1], [-1, 1]];
    for axis in 0..3 {
        for side in [-1, 1] {
            let place = |[u, v]: [i32; 2], size: i32, height: i32| {
                let mut p = [0; 3];
                p[axis] = side * height;
                p[(axis + 1) % 3] = u * size;
                p[(axis + 2) % 3] = v * size;
                p
            };
            let turned = side < 0;
            for k in 0..4 {
                let (a, b) = (square[k], square[(k + 1) % 4]);
                // the rim around the hole, and the hole's wall
                face(
                    vec![
                        place(a, 15, 15),
                        place(b, 15, 15),
                        place(b, 5, 15),
                        place(a, 5, 15),
                    ],
                    turned,
                );
                face(
                    vec![
                        place(a, 5, 15),
                        place(b, 5, 15),
                        place(b, 5, 7),
                        place(a, 5, 7),
                    ],
                    turned,
                );
            }
            face(square.map(|c| place(c, 5, 7)).to_vec(), turned);
        }
    }
    let mut text = String::new();
    for [x, y, z] in places {
        text += &format!("v {x} {y} {z}\n");
    }
    for face in faces {
        let numbers: Vec<String> = face.iter().map(|k| (k + 1).to_string()).collect();
        text += &format!("f {}\n", numbers.join(" "));
    }
    text
}

#[test]
fn scale_and_shrink_enlarge_the_body_and_are_said() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("part.obj"), frustum()).unwrap();
    let line = "body --units mm --pull z --scale 2 --shrink 1.2% --margin 7 --ball 2 --stickout 60 --cell 0.5 --leave 4 \
                --json - part.obj";
    let told = report(folder.path(), line, 0);
    let part = told.body.as_ref().unwrap();
    // the cavity is the part times 1 + shrink
    let factor = 2.0 * 1.012;
    assert!((part.scale - factor).abs() < 1e-12);
    assert!((part.fill_volume_mm3 / (3904.0 * factor.powi(3)) - 1.0).abs() < 1e-9);
    assert!((part.size_mm[2] - 12.0 * factor).abs() < 1e-9);
    let volume = told.halves[0].cavity.volume_mm3.unwrap();
    assert!(
        (volume / part.fill_volume_mm3 - 1.0).abs() < 1e-5,
        "{volume}"
    );
    // 20 wide with 7 mm on both sides; 12 high and 7 above
    let expected = [
        20.0 * factor + 14.0,
        20.0 * factor + 14.0,
        12.0 * factor + 7.0,
    ];
    for (size, expected) in told.halves[0].mesh.size_mm.iter().zip(expected) {
        assert!(
            (size - expected).abs() < 1e-4,
            "{:?}",
            told.halves[0].mesh.size_mm
        );
    }
    assert!(
        told.findings
            .iter()
            .any(|f| f.check == "body" && f.message.contains("enlarged"))
    );
}

#[test]
fn wrong_use_is_refused_in_one_sentence() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("part.obj"), frustum()).unwrap();
    for (line, word) in [
        ("body part.obj", "add `--units mm`"),
        (
            "body --units mm --shrink 1.2 part.obj",
            "write for example 1.2%",
        ),
        ("body --units mm --scale 0 part.obj", "not a factor"),
        ("body --units mm --margin 0 part.obj", "more than 0"),
        (
            "body --units mm --pull up part.obj",
            "--pull: `up` is not a direction",
        ),
        (
            "body --units mm --pull z --level 20 part.obj",
            "misses the body",
        ),
        (
            "body --units mm --write-halves none/x part.obj",
            "a folder that does not exist",
        ),
        ("body --units mm none.obj", "cannot be read"),
        ("body --units mm", "see `moldvet body --help`"),
    ] {
        let output = run(folder.path(), line);
        let told = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{line}: {told}");
        assert!(
            told.contains(word) && told.trim_end().lines().count() == 1,
            "{line}: {told}"
        );
    }
}
