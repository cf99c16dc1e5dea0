use crate::mesh::testing::{block, facets, threemf, threemf_mesh};
use crate::mesh::{Limits, Model, Point, ReadError, from_bytes};
use crate::units::Unit;

/// A block of 1 x 2 x 3.
fn block_mesh() -> String {
    threemf_mesh(&facets(&[block([1.0, 2.0, 3.0])]))
}

fn model(unit: &str, resources: &str, build: &str) -> String {
    format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?><model unit=\"{unit}\" xmlns=\"http://example.org/core/2015/02\" \
         xmlns:b=\"http://example.org/beamlattice/2017/02\" xmlns:p=\"http://example.org/production/2015/06\">\
         <resources>{resources}</resources><build>{build}</build></model>"
    )
}

fn parse(text: &str) -> Result<Model, ReadError> {
    // the unit given is not the file's, and must not matter
    from_bytes(
        &threemf(&[("3D/3dmodel.model", text)]),
        "body.3mf",
        Unit::Inch,
        &Limits::default(),
    )
}

fn refusal(text: &str) -> String {
    parse(text).unwrap_err().to_string()
}

fn object(id: u32, inner: &str) -> String {
    format!("<object id=\"{id}\">{inner}</object>")
}

#[test]
fn the_unit_attribute_is_obeyed() {
    // one unit in mm, by the format's definition of its units
    for (unit, mm) in [
        ("micron", 1e-3),
        ("millimeter", 1.0),
        ("centimeter", 10.0),
        ("inch", 25.4),
        ("foot", 304.8),
        ("meter", 1000.0),
    ] {
        let mesh = object(1, &threemf_mesh(&facets(&[block([16.0, 20.0, 32.0])])));
        let model = parse(&model(unit, &mesh, "<item objectid=\"1\"/>")).unwrap();
        let (lo, hi) = model.bodies[0].mesh.bounds().unwrap();
        assert_eq!(lo, Point::origin());
        let expected = Point::new(16.0 * mm, 20.0 * mm, 32.0 * mm);
        assert!(
            (hi - expected).norm() < 1e-12 * hi.coords.norm(),
            "{unit}: {hi}"
        );
        assert_eq!(model.unit, Unit::Mm);
    }
    let wrong = model("furlong", "", "");
    assert!(refusal(&wrong).contains("`furlong` is no unit"));
}

#[test]
fn build_and_component_transforms_are_applied_in_turn() {
    let resources = object(1, &block_mesh())
        + &object(
            2,
            // x to y, y to z, z to x; then 100 along x
            "<components><component objectid=\"1\" transform=\"0 1 0 0 0 1 1 0 0 100 0 0\"/></components>",
        );
    // twice as large along x, then 5 up
    let build = "<item objectid=\"2\" transform=\"2 0 0 0 1 0 0 0 1 0 0 5\"/>";
    let model = parse(&model("millimeter", &resources, build)).unwrap();
    let (lo, hi) = model.bodies[0].mesh.bounds().unwrap();
    assert_eq!(lo, Point::new(200.0, 0.0, 5.0));
    assert_eq!(hi, Point::new(206.0, 1.0, 7.0));
    assert!(!model.bodies[0].health.inside_out);
}

#[test]
fn a_mirrored_body_is_not_inside_out() {
    let build = "<item objectid=\"1\" transform=\"-1 0 0 0 1 0 0 0 1 0 0 0\"/>";
    let model = parse(&model("millimeter", &object(1, &block_mesh()), build)).unwrap();
    assert!(!model.bodies[0].health.inside_out);
    assert_eq!(model.bodies[0].mesh.signed_volume(), 6.0);
}

#[test]
fn only_what_is_built_counts_and_supports_do_not() {
    let support = "<object id=\"3\" type=\"support\">".to_owned() + &block_mesh() + "</object>";
    let resources = object(1, &block_mesh())
        + &object(2, &block_mesh())
        + &support
        + "<m:colorgroup xmlns:m=\"x\" id=\"9\"/>";
    let build =
        "<item objectid=\"1\"/><item objectid=\"3\" transform=\"1 0 0 0 1 0 0 0 1 9 0 0\"/>";
    let model = parse(&model("millimeter", &resources, build)).unwrap();
    assert_eq!(model.bodies.len(), 1);
    let told = model.unused.join(" ");
    assert!(
        told.contains("supports") && told.contains("colours"),
        "{told}"
    );
}

#[test]
fn objects_may_stand_in_another_part() {
    let root = model(
        "inch",
        &object(
            4,
            "<components><component p:path=\"/3D/Objects/one.model\" objectid=\"1\"/></components>",
        ),
        "<item objectid=\"4\"/>",
    );
    let other = model("inch", &object(1, &block_mesh()), "");
    let bytes = threemf(&[
        ("3D/3dmodel.model", &root),
        ("3D/objects/ONE.model", &other),
    ]);
    let read = from_bytes(&bytes, "body.3mf", Unit::Mm, &Limits::default()).unwrap();
    assert!((read.bodies[0].mesh.signed_volume() - 6.0 * 25.4f64.powi(3)).abs() < 1e-6);
    let alone = threemf(&[("3D/3dmodel.model", &root)]);
    let told = from_bytes(&alone, "body.3mf", Unit::Mm, &Limits::default()).unwrap_err();
    assert!(
        told.to_string()
            .contains("there is no part 3d/objects/one.model"),
        "{told}"
    );
}

#[test]
fn what_is_no_mesh_is_refused() {
    let lattice = object(
        1,
        &block_mesh().replace("</mesh>", "<b:beamlattice/></mesh>"),
    );
    assert!(
        refusal(&model("millimeter", &lattice, "")).contains("a beam lattice, which is not read")
    );
    let text = model(
        "millimeter",
        &object(1, &block_mesh()),
        "<item objectid=\"1\"/>",
    );
    let required = text.replace("unit=", "requiredextensions=\"p\" unit=");
    parse(&required).unwrap();
    let required = text.replace("unit=", "requiredextensions=\"p b\" unit=");
    assert!(
        refusal(&required).contains("the extension `beamlattice`"),
        "{}",
        refusal(&required)
    );
}

#[test]
fn traps_are_refused() {
    let itself = object(1, "<components><component objectid=\"1\"/></components>");
    let told = refusal(&model("millimeter", &itself, "<item objectid=\"1\"/>"));
    assert!(told.contains("made of itself"), "{told}");
    let deep = "<a>".repeat(70);
    assert!(refusal(&format!("<model>{deep}")).contains("nested too deep"));
    let many = format!("<model requiredextensions=\"{}\"/>", "a ".repeat(65));
    assert!(refusal(&many).contains("more extensions are required than there are"));
    // 2^40 blocks
    let mut nested = object(1, &block_mesh());
    for id in 2..42 {
        let twice = format!("<component objectid=\"{}\"/>", id - 1).repeat(2);
        nested += &object(id, &format!("<components>{twice}</components>"));
    }
    let told = refusal(&model("millimeter", &nested, "<item objectid=\"41\"/>"));
    assert!(told.contains("more than the limit"), "{told}");
    // 2^40 times nothing
    let nested = nested.replace(&block_mesh(), "<mesh/>");
    let told = refusal(&model("millimeter", &nested, "<item objectid=\"41\"/>"));
    assert!(told.contains("no triangles"), "{told}");
    let entity = "<!DOCTYPE x [<!ENTITY a \"b\">]><model unit=\"&a;\"/>";
    assert!(refusal(entity).contains("document type is not allowed"));
    let bomb = format!("<model>{}</model>", " ".repeat(8 << 20));
    assert!(refusal(&bomb).contains("unpack to far more"));
    let broken = model(
        "millimeter",
        &object(1, &block_mesh()),
        "<item objectid=\"1\"/>",
    );
    assert!(refusal(&broken[..broken.len() - 20]).contains("3MF file is damaged"));
    assert!(
        refusal(&broken.replace("v1=\"0\"", "v1=\"800\""))
            .contains("names a corner that is not there")
    );
    assert!(refusal(&broken.replace("x=\"1\"", "x=\"one\"")).contains("a vertex without place"));
    let other = threemf(&[("mimetype", "application/epub+zip")]);
    let other = String::from_utf8_lossy(&other).replace("3dmodel", "2dmodel");
    let told = from_bytes(other.as_bytes(), "book", Unit::Mm, &Limits::default()).unwrap_err();
    assert!(told.to_string().starts_with("book: "), "{told}");
}

/// Objects 1 to `last`, each but the first made of the one before.
fn chain(last: u32) -> String {
    let link = |id: u32| {
        let one = format!("<component objectid=\"{}\"/>", id - 1);
        object(id, &format!("<components>{one}</components>"))
    };
    object(1, &block_mesh()) + &(2..=last).map(link).collect::<String>()
}

#[test]
fn a_deep_chain_is_refused_in_whatever_order_it_is_built() {
    let item = |id: u32| format!("<item objectid=\"{id}\"/>");
    // counted from its foot, each link finds the one below counted already
    let from_the_foot: String = (1..=100_000).map(item).collect();
    let told = refusal(&model("millimeter", &chain(100_000), &from_the_foot));
    assert!(told.contains("nested deeper than 64"), "{told}");
    let told = refusal(&model("millimeter", &chain(66), &item(66)));
    assert!(told.contains("nested deeper than 64"), "{told}");
    // 64 objects below the one that is built
    assert!(parse(&model("millimeter", &chain(65), &item(65))).is_ok());
    let told = refusal(&model("millimeter", &chain(66), &(item(65) + &item(66))));
    assert!(told.contains("nested deeper than 64"), "{told}");
}

#[test]
fn archives_that_mean_two_things_are_refused() {
    let text = model(
        "millimeter",
        &object(1, &block_mesh()),
        "<item objectid=\"1\"/>",
    );
    let told = |parts: &[(&str, &str)], change: &dyn Fn(Vec<u8>) -> Vec<u8>| {
        let bytes = change(threemf(parts));
        let read = from_bytes(&bytes, "body.3mf", Unit::Mm, &Limits::default());
        read.unwrap_err().to_string()
    };
    let as_it_is = |bytes: Vec<u8>| bytes;
    let same = told(&[("a.model", &text), ("A.model", &text)], &as_it_is);
    assert!(same.contains("two parts have the same name"), "{same}");
    // the writer refuses the very same name: put it in afterwards
    let renamed = |mut bytes: Vec<u8>| {
        let places = bytes.windows(7).enumerate();
        let places = places.filter(|(_, w)| *w == b"b.model").map(|(at, _)| at);
        for at in places.collect::<Vec<_>>() {
            bytes[at] = b'a';
        }
        bytes
    };
    let same = told(&[("a.model", &text), ("b.model", &text)], &renamed);
    assert!(same.contains("two parts have the same name"), "{same}");
    let out = told(&[("a.model", &text), ("3D/../../x", "")], &as_it_is);
    assert!(out.contains("leads out of the archive"), "{out}");
    let names: Vec<String> = (0..10_000).map(|k| format!("{k}.x")).collect();
    let empty = names.iter().map(|name| (name.as_str(), ""));
    let parts: Vec<_> = std::iter::once(("a.model", text.as_str()))
        .chain(empty)
        .collect();
    let many = told(&parts, &as_it_is);
    assert!(many.contains("10002 parts, more than 10000"), "{many}");
}

/// Found by fuzzing: the XML reader quotes a name that stands in the wrong place, whatever its length.
#[test]
fn what_a_damaged_file_holds_is_quoted_short_and_plain() {
    let long = "\u{1b}[2J".to_owned() + &"x".repeat(5000);
    for text in [
        format!("<model></{long}>"),
        format!("<model unit=\"{long}\"/>"),
        format!("<model><resources><object {long}=\"\"/></resources></model>"),
        model(
            "millimeter",
            &object(1, &block_mesh()),
            &format!("<item objectid=\"1\" transform=\"{long}\"/>"),
        ),
    ] {
        let told = refusal(&text);
        assert!(told.len() < 400, "{told}");
        assert!(!told.contains(char::is_control), "{told:?}");
    }
}
