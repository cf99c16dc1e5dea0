//! Whole files, from bytes to bodies.

use super::read::Facet;
use super::testing::{ascii, ball, binary, block, facets, moved, turned};
use super::*;
use crate::units::Unit;
use proptest::prelude::*;
use std::io::Cursor;

fn parse(bytes: &[u8]) -> Result<Model, ReadError> {
    from_bytes(bytes, "half.stl", Unit::Mm, &Limits::default())
}

/// Reads a file that must be refused, and says what was wrong in words.
fn refusal(bytes: &[u8]) -> String {
    let text = parse(bytes).unwrap_err().to_string();
    assert!(text.starts_with("half.stl: ") && !text.contains('\n'));
    text
}

/// The sound model of these tests: a block with a ball's void, 240 triangles and more.
fn sound() -> Vec<Facet> {
    let void = moved(&turned(&ball(4.0, 8)), [10.0, 10.0, 5.0]);
    facets(&[block([20.0, 20.0, 10.0]), void])
}

fn only(model: &Model) -> &Body {
    assert_eq!(model.bodies.len(), 1);
    &model.bodies[0]
}

/// Volume of [`sound`]: the block's, less the ball's, by its own triangles in 64-bit numbers.
fn sound_volume() -> f64 {
    4000.0 - ball(4.0, 8).signed_volume()
}

fn assert_sound_but(body: &Body, changes: impl Fn(&mut Health)) {
    let reference = parse(&binary(&sound())).unwrap();
    let mut expected = only(&reference).health.clone();
    assert!(expected.sound());
    changes(&mut expected);
    assert_eq!(body.health, expected);
    // 32-bit corners: 20 mm * 2⁻²⁴ on each of 1600 mm² of surface
    assert!((body.mesh.signed_volume() - sound_volume()).abs() < 2e-3);
    assert_eq!((body.pieces, body.voids), (1, 1));
}

#[test]
fn a_sound_file_is_one_closed_body() {
    let bytes = binary(&sound());
    let model = parse(&bytes).unwrap();
    assert_sound_but(only(&model), |_| ());
    assert_eq!(model.dropped, Dropped::default());
    // 32-bit numbers from 16 to 32 are 2⁻¹⁹ apart
    assert_eq!(model.rounding, 2f64.powi(-19));
    assert!(!model.precision_lost());
    let inch = from_bytes(&bytes, "half.stl", Unit::Inch, &Limits::default()).unwrap();
    assert_eq!(inch.rounding, 25.4 * 2f64.powi(-19));
    assert_eq!(
        only(&inch).mesh.bounds().unwrap().1,
        [508.0, 508.0, 254.0].into()
    );
}

#[test]
fn length_tells_binary_whatever_the_header_says() {
    let mut bytes = binary(&sound());
    bytes[..12].copy_from_slice(b"solid facet ");
    assert_sound_but(only(&parse(&bytes).unwrap()), |_| ());
}

#[test]
fn text_and_binary_agree_whatever_case_and_line_ends() {
    let reference = parse(&binary(&sound())).unwrap();
    let text = ascii(&sound());
    for text in [
        text.clone(),
        text.to_uppercase().replace('\n', "\r\n"),
        text.replace("\n ", "\t"),
    ] {
        let model = parse(text.as_bytes()).unwrap();
        assert_eq!(only(&model).mesh, only(&reference).mesh);
        assert_eq!(model.rounding, reference.rounding);
    }
}

#[test]
fn another_reader_finds_the_same_corners() {
    let expected: Vec<Facet> = sound();
    for bytes in [binary(&expected), ascii(&expected).into_bytes()] {
        let other = stl_io::read_stl(&mut Cursor::new(&bytes)).unwrap();
        let found = other
            .faces
            .iter()
            .map(|f| f.vertices.map(|v| other.vertices[v].0));
        assert!(found.eq(expected.iter().copied()));
        // the same number of distinct corners too: it welds equal ones as well
        let model = parse(&bytes).unwrap();
        assert_eq!(only(&model).mesh.vertices.len(), other.vertices.len());
        assert_eq!(only(&model).mesh.triangles.len(), other.faces.len());
    }
}

#[test]
fn files_that_are_no_whole_stl_are_refused_with_a_reason() {
    let good = binary(&sound());
    let count = sound().len();
    assert!(refusal(b"").contains("empty"));
    assert!(refusal(&binary(&[])).contains("no triangles"));
    assert!(refusal(b"solid x\nendsolid x\n").contains("no triangles"));
    assert!(refusal(b"<!DOCTYPE html><html><body>gone</body></html>").contains("web page"));
    let wide: Vec<u8> = "\u{feff}solid half\nfacet normal 0 0 1\n"
        .encode_utf16()
        .flat_map(u16::to_le_bytes)
        .collect();
    assert!(refusal(&wide).contains("UTF-16"));
    assert!(refusal(&wide[2..]).contains("UTF-16"));
    assert!(refusal(b"once upon a time\n").contains("some other text"));
    assert!(refusal(&"v 0.0 1.0 2.0\n".repeat(50).into_bytes()).contains("no triangles"));
    assert!(refusal(&[7, 0, 1, 2]).contains("too short"));

    let mut wrong = good.clone();
    wrong[80..84].copy_from_slice(&(count as u32 + 25).to_le_bytes());
    let text = refusal(&wrong);
    assert!(
        text.contains(&format!("declares {} triangles", count + 25))
            && text.contains(&format!("room for {count}:"))
    );
    let text = refusal(&good[..good.len() - 23]);
    assert!(
        text.contains(&format!("declares {count} "))
            && text.contains(&format!("room for {} whole ones and 27 bytes", count - 1))
    );
    let mut huge = good[..100].to_vec();
    huge[80..84].copy_from_slice(&4_000_000_000u32.to_le_bytes());
    assert!(refusal(&huge).contains("declares 4000000000 triangles but the file has room for 0 "));
}

#[test]
fn coordinates_must_be_finite_and_of_a_molds_size() {
    let with = |x: f32| {
        let mut all = sound();
        all[17][1][2] = x;
        refusal(&binary(&all))
    };
    for x in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY] {
        assert!(with(x).contains("triangle 18 (index 17)"));
    }
    let scaled = |by: f32, shift: f32| {
        let mut all = sound();
        for p in all.as_flattened_mut() {
            *p = p.map(|x| x * by);
            p[0] += shift;
        }
        binary(&all)
    };
    assert!(refusal(&scaled(1e29, 0.0)).contains("size out of range"));
    assert!(refusal(&scaled(1e-7, 0.0)).contains("units are likely wrong"));
    assert!(refusal(&scaled(1.0, 1e9)).contains("precision is lost"));
    // spacing between 2¹⁹ and 2²⁰ is 2⁻⁴: coarse, but a shape still
    let far = parse(&scaled(1.0, 1e6)).unwrap();
    assert!(far.precision_lost());
    assert_eq!(far.rounding, 0.0625);
}

#[test]
fn what_has_no_area_or_no_volume_is_refused() {
    let lines: Vec<Facet> = sound().iter().map(|[a, b, _]| [*a, *b, *b]).collect();
    assert!(refusal(&binary(&lines)).contains("has an area"));
    let sheet = facets(&[block([30.0, 20.0, 0.0])]);
    assert!(refusal(&binary(&sheet)).contains("no volume"));
    // beside a solid, a sheet is left out
    let mut both = sound();
    both.extend(facets(&[moved(&block([3.0, 2.0, 0.0]), [40.0, 0.0, 0.0])]));
    let model = parse(&binary(&both)).unwrap();
    // four of the block's twelve triangles keep some area, each face as two
    assert_eq!((model.dropped.degenerate, model.dropped.flat), (8, 4));
    assert_sound_but(only(&model), |h| h.degenerate = 8);
}

#[test]
fn defects_are_mended_and_counted() {
    let mend = |change: &dyn Fn(&mut Vec<Facet>)| {
        let mut all = sound();
        change(&mut all);
        parse(&binary(&all)).unwrap()
    };
    let model = mend(&|all| all.extend_from_within(3..43));
    assert_sound_but(only(&model), |h| h.duplicated = 40);
    assert_eq!(model.dropped.duplicated, 40);

    let model = mend(&|all| {
        let [a, b, _] = all[5];
        all.insert(9, [a, b, a]);
    });
    assert_sound_but(only(&model), |h| h.degenerate = 1);

    let model = mend(&|all| all[40].swap(0, 1));
    let at = only(&model).health.flipped_at.clone();
    assert_sound_but(only(&model), |h| {
        (h.flipped, h.flipped_at) = (1, at.clone())
    });
    let corners = sound()[40].map(|p| Point::from(p.map(f64::from)));
    assert!(at.len() == 1 && corners.contains(&at[0]));

    let model = mend(&|all| all.iter_mut().for_each(|t| t.swap(0, 1)));
    assert_sound_but(only(&model), |h| h.inside_out = true);
}

#[test]
fn a_missing_triangle_is_counted_and_placed() {
    let mut all = sound();
    let gone = all.remove(40).map(|p| Point::from(p.map(f64::from)));
    let model = parse(&binary(&all)).unwrap();
    let health = &only(&model).health;
    assert!(!health.closed && health.open_edges == 3 && health.nonmanifold_edges == 0);
    let middles = [0, 1, 2].map(|k| nalgebra::center(&gone[k], &gone[(k + 1) % 3]));
    assert!(
        health.open_at.len() == 1
            && middles
                .iter()
                .any(|m| (m - health.open_at[0]).norm() < 1e-12)
    );
}

#[test]
fn halves_in_contact_stay_two_however_they_lie() {
    // one contact face has a corner in its middle, the other has not
    let lower = block([20.0, 30.0, 10.0]);
    let mut upper = moved(&lower, [0.0, 0.0, 10.0]);
    upper.vertices.push([7.0, 11.0, 10.0].into());
    let (foot, mut rest): (Vec<_>, Vec<_>) = upper
        .triangles
        .iter()
        .partition(|t| t.iter().all(|&v| v < 4));
    assert_eq!(foot.len(), 2);
    rest.extend([[0, 2, 8], [2, 3, 8], [3, 1, 8], [1, 0, 8]]);
    upper.triangles = rest;
    for k in 0..20 {
        let turn = nalgebra::Vector3::new(0.3, 0.5, -0.7) * f64::from(k);
        let place = nalgebra::Isometry3::new([9.0 * f64::from(k), -30.0, 55.0].into(), turn);
        let pair = [lower.transformed(&place), upper.transformed(&place)];
        let model = parse(&binary(&facets(&pair))).unwrap();
        assert_eq!(model.bodies.len(), 2, "placed {k}");
        for body in &model.bodies {
            assert!(body.health.sound(), "placed {k}");
            assert!((body.mesh.signed_volume() - 6000.0).abs() < 0.1);
        }
    }
}

#[test]
fn limits_hold_before_anything_is_read() {
    let bytes = binary(&sound());
    let few = Limits {
        triangles: 100,
        ..Limits::default()
    };
    let fault = from_bytes(&bytes, "half.stl", Unit::Mm, &few)
        .unwrap_err()
        .fault;
    assert!(matches!(fault, Fault::TooManyTriangles { limit: 100, .. }));
    let text = ascii(&sound());
    let fault = from_bytes(text.as_bytes(), "half.stl", Unit::Mm, &few)
        .unwrap_err()
        .fault;
    assert!(matches!(fault, Fault::TooManyTriangles { count: 101, .. }));

    let path = tempfile::NamedTempFile::new().unwrap();
    std::fs::write(path.path(), &bytes).unwrap();
    let from_disk = |limits: &Limits| read(path.path(), Unit::Mm, limits);
    assert_sound_but(only(&from_disk(&Limits::default()).unwrap()), |_| ());
    assert!(matches!(
        from_disk(&few).unwrap_err().fault,
        Fault::TooManyTriangles { .. }
    ));
    let small = Limits {
        memory: 20_000,
        ..Limits::default()
    };
    assert!(matches!(
        from_disk(&small).unwrap_err().fault,
        Fault::TooMuchMemory { .. }
    ));
    let nowhere = read("no-such-folder/half.stl".as_ref(), Unit::Mm, &few).unwrap_err();
    assert!(matches!(nowhere.fault, Fault::Io(_)) && nowhere.file == "half.stl");
}

#[test]
fn a_strange_word_is_refused_with_its_line() {
    let said = refusal(b"solid half\nfacet normal 0 0 1\nouter lop\n");
    assert!(
        said.contains("line 3 has `lop` where `loop` belongs"),
        "{said}"
    );
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn no_bytes_make_reading_panic(mut bytes in prop::collection::vec(any::<u8>(), 0..2000), fit in any::<bool>()) {
        if fit && bytes.len() > 84 {
            // the right length, so that the coordinates are random too
            bytes.truncate(84 + (bytes.len() - 84) / 50 * 50);
            let count = (bytes.len() - 84) as u32 / 50;
            bytes[80..84].copy_from_slice(&count.to_le_bytes());
        }
        let _ = parse(&bytes);
    }

    #[test]
    fn no_damage_makes_reading_panic(
        text in any::<bool>(),
        cut in any::<prop::sample::Index>(),
        hits in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 0..6),
    ) {
        let mut bytes = if text { ascii(&sound()).into_bytes() } else { binary(&sound()) };
        // what follows the last word, ` half` and the line's end, may go
        let needed = bytes.len() - if text { 6 } else { 0 };
        let cut = cut.index(needed);
        prop_assert!(parse(&bytes[..cut]).is_err());
        for (at, value) in hits {
            *at.get_mut(&mut bytes) = value;
        }
        let _ = parse(&bytes);
        let _ = parse(&bytes[..cut]);
    }

    #[test]
    fn coarse_random_soups_keep_their_topology_whole(
        corners in prop::collection::vec(prop::array::uniform3(prop::array::uniform3(0..3i8)), 1..60),
    ) {
        // corners on a 3 x 3 x 3 lattice: every kind of contact, overlap and degeneracy
        let all: Vec<Facet> = corners.iter().map(|t| t.map(|p| p.map(f32::from))).collect();
        if let Ok(model) = parse(&binary(&all)) {
            for body in &model.bodies {
                for (t, sides) in body.topology.sides.iter().enumerate() {
                    for (k, &side) in sides.iter().enumerate() {
                        let edge = body.topology.edges[side as usize];
                        let t = t as u32;
                        prop_assert!(edge.triangles.0 == t || edge.triangles.1 == Some(t));
                        let other = body.topology.across(t, k);
                        prop_assert!(other.is_none_or(|o| body.topology.sides[o as usize].contains(&side)));
                    }
                }
                let health = &body.health;
                prop_assert_eq!(health.closed, health.open_edges + health.nonmanifold_edges == 0);
                prop_assert!(body.mesh.signed_volume().is_finite());
            }
        }
    }

    #[test]
    fn order_of_triangles_does_not_matter(seed in any::<u64>(), spin in 0..3usize) {
        let mut all = sound();
        let mut state = seed;
        for i in (1..all.len()).rev() {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            all.swap(i, (state >> 33) as usize % (i + 1));
        }
        all.iter_mut().for_each(|t| t.rotate_left(spin));
        let model = parse(&binary(&all)).unwrap();
        let body = only(&model);
        assert_sound_but(body, |_| ());
        let reference = parse(&binary(&sound())).unwrap();
        prop_assert_eq!(body.topology.edges.len(), only(&reference).topology.edges.len());
    }
}
