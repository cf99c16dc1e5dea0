//! What the program says of defective files: what can be judged is judged and the defect told, the rest is refused in one
//! sentence that names it. All are derived from one sound half.

#[allow(dead_code, reason = "shared with other tests")]
mod common;

use common::{Facet, binary_stl, data, facets_of, ring, tower};
use moldvet::report::{Finding, Report, Verdict};
use std::fs;
use std::path::Path;
use std::process::{Command, Output};
use std::sync::LazyLock;

/// Figures of the sound half.
static SOUND: LazyLock<Figures> =
    LazyLock::new(|| figures(ask("small_half.stl", &sound()).report()));

type Figures = [(&'static str, f64); 6];

/// What a program's run gives.
struct Answer {
    name: String,
    status: i32,
    told: String,
    report: Option<Report>,
}

/// Asks the program about a file with these bytes.
fn ask(name: &str, bytes: &[u8]) -> Answer {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join(name), bytes).unwrap();
    let output = run(folder.path(), name, &[]);
    let told = String::from_utf8(output.stderr).unwrap();
    let status = output.status.code();
    let status = status.unwrap_or_else(|| panic!("{name}: {:?}: {told}", output.status));
    let report = (status < 2).then(|| {
        serde_json::from_slice(&output.stdout).unwrap_or_else(|e| panic!("{name}: {e}: {told}"))
    });
    let answer = Answer {
        name: name.to_owned(),
        status,
        told,
        report,
    };
    answer.as_in_the_table();
    answer
}

/// For each file its defect, the exit status, and what is said.
const TABLE: &str = include_str!("../docs/bad-files.md");

/// The cells of the table's rows, the file without its quotes.
fn rows() -> impl Iterator<Item = [&'static str; 4]> {
    let rows = TABLE.lines().filter(|l| l.starts_with("| `"));
    rows.map(|row| {
        let cells = row.trim_matches('|').split(" | ").map(str::trim);
        let [file, rest @ ..] = <[&str; 4]>::try_from(cells.collect::<Vec<_>>()).unwrap();
        let [defect, status, said] = rest;
        [file.trim_matches('`'), defect, status, said]
    })
}

/// Where there is a shell that can, with 5 s of processor time (not of the clock, which a busy machine delays) and 4 GB of
/// address space: a declared count must not be believed.
fn run(folder: &Path, name: &str, more: &[&str]) -> Output {
    let program = env!("CARGO_BIN_EXE_moldvet");
    let args = [
        "check", "--units", "mm", "--ball", "3mm", "--json", "-", name,
    ];
    let mut command = if cfg!(target_os = "linux") {
        let mut shell = Command::new("sh");
        let limited = "ulimit -t 5; ulimit -v 4000000; exec \"$0\" \"$@\"";
        shell.args(["-c", limited, program]);
        shell
    } else {
        Command::new(program)
    };
    command
        .args(args)
        .args(more)
        .current_dir(folder)
        .output()
        .unwrap()
}

impl Answer {
    /// If the file stands in the table, its row is true.
    fn as_in_the_table(&self) {
        let Some([_, _, status, said]) = rows().find(|row| row[0] == self.name) else {
            return;
        };
        let told = match &self.report {
            None => {
                let prefix = format!("moldvet: {}: ", self.name);
                self.told.trim_end().replacen(&prefix, "", 1)
            }
            Some(report) => {
                let of_the_file = |f: &&Finding| {
                    ["mesh", "setup"].contains(&f.check.as_str()) && f.verdict > Verdict::Pass
                };
                let all = report.findings.iter().filter(of_the_file);
                let messages: Vec<&str> = all.map(|f| f.message.as_str()).collect();
                if messages.is_empty() {
                    "nothing".to_owned()
                } else {
                    messages.join(" ")
                }
            }
        };
        assert_eq!(
            (status, said),
            (&*self.status.to_string(), &*told),
            "{}",
            self.name
        );
    }

    /// It was refused, in one sentence that holds all these words.
    fn refused(&self, words: &[&str]) {
        let (name, told) = (&self.name, &self.told);
        assert_eq!(self.status, 2, "{name}: {told}");
        assert_eq!(told.lines().count(), 1, "{name}: {told}");
        assert!(
            told.starts_with(&format!("moldvet: {name}: ")),
            "{name}: {told}"
        );
        for word in words {
            assert!(told.contains(word), "{name}: `{word}` is not in: {told}");
        }
    }

    fn report(&self) -> &Report {
        let judged = self.report.as_ref();
        judged.unwrap_or_else(|| panic!("{}: refused: {}", self.name, self.told))
    }

    fn of_the_mesh(&self) -> Vec<&Finding> {
        let findings = self.report().findings.iter();
        findings.filter(|f| f.check == "mesh").collect()
    }

    /// It was judged and nothing said of the mesh.
    fn accepted(&self) {
        let found = self.of_the_mesh();
        assert!(found.is_empty(), "{}: {found:?}", self.name);
        assert_eq!(self.told, "", "{}", self.name);
    }

    /// It was judged, and one thing said of the mesh, with these words and this figure.
    fn warned(&self, words: &str, value: Option<f64>) -> Finding {
        let found = self.of_the_mesh();
        let [finding] = found[..] else {
            panic!("{}: {found:?}", self.name);
        };
        assert!(
            finding.message.contains(words),
            "{}: `{words}` is not in: {}",
            self.name,
            finding.message
        );
        assert_eq!(finding.value, value, "{}", self.name);
        finding.clone()
    }

    /// The figures are those of the sound half, to this share of each.
    fn as_sound(&self, share: f64) {
        for (what, found, expected) in figures(self.report())
            .iter()
            .zip(SOUND.iter())
            .map(|(a, b)| (a.0, a.1, b.1))
        {
            assert!(
                (found - expected).abs() <= share * expected,
                "{}: {what} {found}, of the sound half {expected}",
                self.name
            );
        }
    }
}

fn figures(report: &Report) -> Figures {
    assert_eq!(report.halves.len(), 1);
    let half = &report.halves[0];
    let ball = &half.reach.cutters[0];
    [
        ("volume", half.cavity.volume_mm3.unwrap()),
        ("surface", half.cavity.surface_mm2.unwrap()),
        ("depth", half.cavity.depth_mm.unwrap()),
        ("left height", ball.left_height_mm.unwrap()),
        ("left volume", ball.left_volume_mm3.unwrap()),
        ("wall", half.draft.tallest_short_wall_mm.unwrap()),
    ]
}

fn sound() -> Vec<u8> {
    fs::read(data("small_half.stl")).unwrap()
}

/// The sound half's facets, changed.
fn changed(change: impl Fn(&mut Vec<Facet>)) -> Vec<u8> {
    let mut facets = facets_of(&sound());
    change(&mut facets);
    binary_stl(&facets)
}

fn scaled(by: f32) -> Vec<u8> {
    let scale = |c: &mut f32| *c = (f64::from(*c) * f64::from(by)) as f32;
    changed(|facets| {
        facets
            .as_flattened_mut()
            .as_flattened_mut()
            .iter_mut()
            .for_each(scale)
    })
}

/// Another count in the header.
fn declaring(count: u32) -> Vec<u8> {
    let mut bytes = sound();
    bytes[80..84].copy_from_slice(&count.to_le_bytes());
    bytes
}

/// ASCII STL of facets, numbers with seven digits.
fn ascii(facets: &[Facet]) -> String {
    let number = |c: f32| {
        let text = format!("{c:.6e}");
        let (digits, power) = text.split_once('e').unwrap();
        let power: i32 = power.parse().unwrap();
        format!(
            "{digits}e{}{:02}",
            if power < 0 { '-' } else { '+' },
            power.abs()
        )
    };
    let mut text = String::from("solid half\n");
    for facet in facets {
        text += "facet normal 0.000000e+00 0.000000e+00 0.000000e+00\n outer loop\n";
        for corner in facet {
            let [x, y, z] = corner.map(number);
            text += &format!("  vertex {x} {y} {z}\n");
        }
        text += " endloop\nendfacet\n";
    }
    text + "endsolid half\n"
}

fn sound_ascii() -> String {
    ascii(&facets_of(&sound()))
}

#[test]
fn a_sound_half_is_accepted_and_its_volume_right() {
    let answer = ask("good_binary.stl", &sound());
    answer.accepted();
    let half = &answer.report().halves[0];
    assert_eq!(half.mesh.triangles, 1692);
    assert!(half.mesh.closed);
    // of the exact solid: block 30 × 24 × 12 less 7717.620668 mm³ of material; facets cut 0.04 % off its rounded corners
    let cavity = 30.0 * 24.0 * 12.0 - 7717.620668;
    let volume = half.cavity.volume_mm3.unwrap();
    assert!((volume - cavity).abs() < 1e-3 * cavity, "{volume}");
}

#[test]
fn text_in_either_case_and_line_end_is_accepted() {
    let text = sound_ascii();
    let upper = text.to_uppercase().replace('\n', "\r\n");
    for (name, text) in [
        ("good_ascii.stl", text),
        ("good_ascii_crlf_upper.stl", upper),
    ] {
        let answer = ask(name, text.as_bytes());
        answer.accepted();
        answer.as_sound(1e-4);
    }
}

#[test]
fn a_binary_file_that_begins_with_solid_is_accepted() {
    let mut bytes = sound();
    bytes[..22].copy_from_slice(b"solid exported by some");
    let answer = ask("binary_solid_header.stl", &bytes);
    answer.accepted();
    answer.as_sound(0.0);
}

#[test]
fn stored_normals_do_not_matter() {
    let bytes = changed(|_| ());
    assert!(bytes[84..].chunks(50).all(|b| b[..12] == [0; 12]));
    let answer = ask("zero_stored_normals.stl", &bytes);
    answer.accepted();
    answer.as_sound(0.0);
}

#[test]
fn no_triangle_is_refused() {
    ask("empty.stl", b"").refused(&["the file is empty"]);
    let mut bytes = declaring(0);
    bytes.truncate(84);
    ask("header_only.stl", &bytes).refused(&["no triangles"]);
}

#[test]
fn text_that_breaks_off_is_refused_with_the_line() {
    let text = sound_ascii();
    // the last facet without its third corner and all that follows
    let at = text.rfind("  vertex").unwrap();
    let cut = &text[..at];
    assert!(cut.ends_with('\n'));
    let lines = cut.lines().count();
    let line = format!("ends early at line {lines}");
    ask("ascii_truncated_facet.stl", cut.as_bytes()).refused(&[&line, "`vertex`"]);
}

#[test]
fn text_with_a_number_that_is_none_is_refused_with_the_line() {
    let text = sound_ascii().replacen("vertex -", "vertex x-", 1);
    let line = text.lines().position(|l| l.contains("x-")).unwrap() + 1;
    assert_eq!(line, 4);
    ask("ascii_bad_number.stl", text.as_bytes()).refused(&["line 4", "x-1.5", "not a number"]);
}

#[test]
fn a_wrong_count_is_refused_with_both_counts() {
    for (name, count) in [("count_too_large.stl", 1717), ("count_too_small.stl", 1667)] {
        let declared = format!("declares {count} triangles");
        ask(name, &declaring(count)).refused(&[&declared, "room for 1692"]);
    }
    let mut cut = sound();
    cut.truncate(84 + 50 * 1691 + 27);
    ask("binary_cut_mid_triangle.stl", &cut).refused(&["declares 1692", "room for 1691"]);
}

#[test]
fn a_huge_count_is_not_believed() {
    let mut bytes = declaring(4_000_000_000);
    bytes.truncate(100);
    ask("huge_count_100_bytes.stl", &bytes).refused(&["declares 4000000000", "room for 0"]);
    let ply = |vertices: u64, faces: u64, corners: u32| {
        let head = format!(
            "ply\nformat binary_little_endian 1.0\nelement vertex {vertices}\nproperty float x\nproperty float y\n\
             property float z\nelement face {faces}\nproperty list uint int vertex_indices\nend_header\n"
        );
        let places: [f32; 9] = [0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0, 0.0];
        let mut bytes = head.into_bytes();
        bytes.extend(places.iter().flat_map(|c| c.to_le_bytes()));
        bytes.extend(corners.to_le_bytes());
        bytes.extend([0_u32, 1, 2].iter().flat_map(|v| v.to_le_bytes()));
        bytes
    };
    let more = "more than the file has bytes";
    ask("huge_vertices.ply", &ply(4_000_000_000, 1, 3)).refused(&["4000000000", more]);
    ask("huge_faces.ply", &ply(3, 4_000_000_000, 3)).refused(&["4000000000", more]);
    ask("huge_face.ply", &ply(3, 1, 4_000_000_000)).refused(&["PLY file is damaged"]);
    // the same file with counts that are true is read, and has nothing solid
    ask("true_counts.ply", &ply(3, 1, 3)).refused(&["no volume"]);
}

#[test]
fn more_columns_than_fit_are_refused_with_the_option() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("half.stl"), sound()).unwrap();
    for cell in ["0.00001", "0.0015"] {
        let output = run(folder.path(), "half.stl", &["--cell", cell]);
        let told = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{told}");
        assert_eq!(told.lines().count(), 1, "{told}");
        // 30 × 24 mm over the square of the cell
        let need = format!("{:.1e}", 30.0 * 24.0 / cell.parse::<f64>().unwrap().powi(2));
        for words in [cell, &need, "more than 1e8", "--cell"] {
            assert!(told.contains(words), "`{words}` is not in: {told}");
        }
    }
}

#[test]
fn a_coordinate_that_is_not_finite_is_refused_with_the_triangle() {
    for (name, bad) in [
        ("nan_coord.stl", f32::NAN),
        ("inf_coord.stl", f32::INFINITY),
    ] {
        let bytes = changed(|facets| facets[846][1][0] = bad);
        ask(name, &bytes).refused(&["triangle 847 (index 846)", "not a finite number"]);
    }
}

#[test]
fn nothing_solid_is_refused() {
    let flat = changed(|facets| facets.iter_mut().for_each(|f| f[2] = f[1]));
    ask("all_degenerate.stl", &flat).refused(&["none of the 1692 triangles has an area"]);
    let [a, b, c, d] =
        [[0.0, 0.0], [30.0, 0.0], [30.0, 20.0], [0.0, 20.0]].map(|[x, y]| [x, y, 0.0]);
    let sheet = binary_stl(&[[a, b, c], [a, c, d], [c, b, a], [d, c, a]]);
    ask("zero_thickness_sheet.stl", &sheet).refused(&["no volume"]);
}

#[test]
fn other_kinds_of_file_are_refused() {
    let text = ascii(&facets_of(&sound())[..20]);
    let mut wide = vec![0xff, 0xfe];
    wide.extend(text.encode_utf16().flat_map(u16::to_le_bytes));
    ask("utf16.stl", &wide).refused(&["UTF-16"]);
    let page = b"<!DOCTYPE html><html><body>404 not found</body></html>\n";
    ask("not_an_stl.stl", page).refused(&["not an STL"]);
    for seed in 1..=4_u64 {
        // a linear congruential generator with the constants of Knuth's MMIX (from memory)
        let mut state = seed;
        let noise: Vec<u8> = std::iter::repeat_with(|| {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (state >> 56) as u8
        })
        .take(5000)
        .collect();
        let name = ["random_bytes.stl", "noise.stl"][usize::from(seed > 1)];
        ask(name, &noise).refused(&["not an STL"]);
    }
}

#[test]
fn sizes_out_of_range_are_refused() {
    ask("huge_coords.stl", &scaled(1e30 / 15.0)).refused(&["2.000e30 mm", "out of range"]);
    ask("tiny_model.stl", &scaled(1e-6 / 15.0)).refused(&["out of range", "units"]);
}

#[test]
fn a_half_far_from_the_origin_is_judged_with_a_word_on_its_precision() {
    let bytes = changed(|facets| {
        let corners = facets.as_flattened_mut();
        corners.iter_mut().for_each(|c| c[0] += 1e6);
    });
    let answer = ask("far_offset.stl", &bytes);
    // 32-bit numbers from 2^19 to 2^20 are 2^-4 apart
    answer.warned("coarser than a micrometre", Some(0.0625));
}

#[test]
fn triangles_without_area_are_left_out() {
    let bytes = changed(|facets| {
        for k in 0..7 {
            let corner = facets[k][0];
            facets.push([corner; 3]);
        }
    });
    let answer = ask("some_degenerate.stl", &bytes);
    answer.warned("without area", Some(7.0));
    answer.as_sound(0.0);
}

#[test]
fn triangles_that_stand_twice_are_left_out() {
    let bytes = changed(|facets| facets.extend_from_within(..40));
    let answer = ask("duplicated_triangles.stl", &bytes);
    answer.warned("Duplicate triangles", Some(40.0));
    answer.as_sound(0.0);
}

#[test]
fn an_open_mesh_is_told_with_its_edges_and_their_place() {
    let facets = facets_of(&sound());
    let gone = facets[70];
    let answer = ask(
        "missing_triangle.stl",
        &changed(|facets| {
            facets.remove(70);
        }),
    );
    let finding = answer.warned("The mesh is open", Some(3.0));
    let at = finding.at_mm.unwrap();
    let far = |c: &[f32; 3]| {
        (0..3)
            .map(|k| (at[k] - f64::from(c[k])).powi(2))
            .sum::<f64>()
    };
    let longest = (0..3).map(|k| {
        let (a, b) = (gone[k], gone[(k + 1) % 3]);
        (0..3).map(|k| f64::from(a[k] - b[k]).powi(2)).sum::<f64>()
    });
    let longest = longest.fold(0.0, f64::max);
    assert!(
        gone.iter().all(|c| far(c) <= longest),
        "{at:?} is not at {gone:?}"
    );
    let mesh = answer.report().halves[0].mesh;
    assert!(!mesh.closed && mesh.open_edges == 3, "{mesh:?}");
}

#[test]
fn a_half_inside_out_is_turned() {
    let bytes = changed(|facets| facets.iter_mut().for_each(|f| f.reverse()));
    let answer = ask("flipped_normals.stl", &bytes);
    answer.warned("inside out", Some(1.0));
    assert!(answer.report().halves[0].mesh.inside_out);
    answer.as_sound(1e-6);
}

#[test]
fn a_triangle_wound_the_other_way_is_turned() {
    let bytes = changed(|facets| facets[70].reverse());
    let answer = ask("one_flipped_triangle.stl", &bytes);
    answer.warned("winding is inconsistent", Some(1.0));
    answer.as_sound(1e-6);
}

#[test]
fn a_plain_block_has_no_cavity() {
    let facets = tower(&[ring(10.0, 10.0, 0.0), ring(10.0, 10.0, 10.0)]);
    let answer = ask("flat_block.stl", &binary_stl(&facets));
    answer.accepted();
    let report = answer.report();
    let told = report.findings.iter().find(|f| f.check == "setup").unwrap();
    for word in ["no cavity", "the tool axis is ambiguous"] {
        assert!(told.message.contains(word), "{}", told.message);
    }
    let cavity = &report.halves[0].cavity;
    let none = [cavity.volume_mm3, cavity.depth_mm, cavity.surface_mm2];
    assert_eq!(none, [Some(0.0); 3]);
}

#[test]
fn each_file_of_the_table_is_asked_about_here() {
    let tests = include_str!("bad_files.rs");
    for [file, ..] in rows() {
        assert!(tests.contains(&format!("\"{file}\"")), "{file}");
    }
    assert!(rows().count() >= 29);
}
