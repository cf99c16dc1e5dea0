use super::*;

#[test]
fn the_sample_file() {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/shop.toml");
    let shop = Shop::read(&path).unwrap();
    assert_eq!(shop.source.as_deref(), Some("shop.toml"));
    assert_eq!(shop.units, Some(Unit::Inch));
    // The file says that it states the defaults.
    assert_eq!(shop.limits, Limits::default());

    let names: Vec<_> = shop.cutters.iter().map(|c| c.name.as_str()).collect();
    assert_eq!(
        names,
        ["1/8 ball", "6mm ball", "3/8in bull r1/32in", "4mm flat"]
    );
    assert_eq!(
        shop.cutters[0],
        Cutter {
            name: "1/8 ball".into(),
            diameter: 3.175,
            corner_radius: 1.5875,
            flute_length: Some(12.7),
            neck: Some(Neck {
                diameter: 3.0,
                length: 17.78
            }),
            shank: Some(3.175),
            stickouts: vec![19.05, 38.1],
            holder: Some("collet".into()),
            edges: Edges {
                teeth: Some(2),
                chip_load: Some(0.0254),
                rpm: Some(24_000.0),
                made_of: ToolMaterial::Carbide,
            },
        }
    );
    // The file states the defaults here too, but for a row of its own.
    let mut planning = Planning::default();
    planning.materials.push(Material {
        name: "my bronze".into(),
        // 200 and 400 feet a minute
        speed: [60.96, 121.92],
        chip_share: 0.005,
        rough_depth: 0.15,
        rough_width: 0.3,
        builtin: false,
    });
    assert_eq!(shop.planning, planning);
    let kinds: Vec<_> = shop.cutters.iter().map(Cutter::kind).collect();
    use CutterKind::{Ball, Bull, Flat};
    assert_eq!(kinds, [Ball, Ball, Bull, Flat]);
    // 3/8 in and 1-1/4 in, as bare numbers.
    assert_eq!(shop.cutters[2].diameter, 9.525);
    assert_eq!(shop.cutters[2].stickouts, [31.75]);

    assert_eq!(shop.holders.len(), 2);
    assert_eq!(
        shop.holders[0].sections,
        [
            Section {
                lower_diameter: 20.0,
                upper_diameter: 20.0,
                height: 30.0
            },
            Section {
                lower_diameter: 20.0,
                upper_diameter: 40.0,
                height: 10.0
            },
        ]
    );
    assert_eq!(shop.tools().len(), 2 + 2 + 1 + 1);
}

/// The format as it is documented is one that is read.
#[test]
fn the_file_in_the_documentation() {
    let text: String = include_str!("../mod.rs")
        .lines()
        .map_while(|line| line.strip_prefix("//!"))
        .skip_while(|line| *line != " ```toml")
        .skip(1)
        .take_while(|line| *line != " ```")
        .map(|line| format!("{}\n", line.trim()))
        .collect();
    let shop = shop(&text);
    assert_eq!(shop.cutters.len(), 1);
    assert_eq!(shop.holders.len(), 1);
    assert_eq!(shop.limits, Limits::default());
}

#[test]
fn an_empty_file_is_the_built_in_shop() {
    let mut shop = shop("");
    assert_eq!(shop.source.take().as_deref(), Some("shop.toml"));
    assert_eq!(shop, Shop::builtin());
}

#[test]
fn limits_are_read() {
    let limits = shop(
        "units = 'inch'\n[limits]\nleave = 0.001\ndraft = '2 deg'\nwall = '2 mm'\nforgive = 0.5\n\
         shank_clearance = '0.3 mm'\nholder_clearance = '2 mm'\ncrease = 20\ncontact = '0.1 mm'\n\
         draft_min_area = 2",
    )
    .limits;
    let expected = Limits {
        leave: 0.0254,
        draft_deg: 2.0,
        wall: 2.0,
        forgive: 12.7,
        shank_clearance: 0.3,
        holder_clearance: 2.0,
        crease_deg: 20.0,
        contact: 0.1,
        draft_min_area: 2.0,
    };
    assert_eq!(limits, expected);
}

#[test]
fn a_number_is_its_text() {
    for number in ["0.3", "0x10", "1_000", "3e-1", "7"] {
        let text = format!("units = 'inch'\n[[cutter]]\ndiameter = {number}");
        let value: f64 = match number {
            "0x10" => 16.0,
            other => other.replace('_', "").parse().unwrap(),
        };
        let expected = crate::units::parse_length(&format!("{value}in"), None).unwrap();
        assert_eq!(shop(&text).cutters[0].diameter, expected, "{number}");
    }
}

#[test]
fn tables_may_be_written_in_every_way_of_toml() {
    let inline =
        shop("cutter = [ { diameter = '3 mm', neck = { diameter = '2 mm', length = '9 mm' } } ]");
    let dotted = shop(
        "[[cutter]]\r\ndiameter = '3 mm'\r\nneck.diameter = '2 mm'\r\nneck.length = '9 mm'\r\n",
    );
    let headed =
        shop("[[cutter]]\ndiameter = '3 mm'\n[cutter.neck]\ndiameter = '2 mm'\nlength = '9 mm'\n");
    assert_eq!(inline, dotted);
    assert_eq!(inline, headed);
}

/// 1.587 mm and 1.588 mm are what lists print for 1/16 in.
#[test]
fn a_corner_rounded_to_a_micron_is_a_balls() {
    for corner in ["1.587 mm", "1.588 mm", "1/16in"] {
        let shop = shop(&format!(
            "[[cutter]]\ndiameter = '1/8in'\ncorner_radius = '{corner}'"
        ));
        assert_eq!(shop.cutters[0].corner_radius, 1.5875);
        assert_eq!(shop.cutters[0].name, "1/8in ball");
    }
}

#[test]
fn files_that_are_none() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("none.toml");
    let message = Shop::read(&path).unwrap_err().to_string();
    let begin = format!("{}: the shop file cannot be read (", path.display());
    assert!(message.starts_with(&begin), "{message}");
    assert!(
        message.ends_with("; check its name and that it is a text file"),
        "{message}"
    );

    let path = folder.path().join("bytes.toml");
    std::fs::write(&path, [b'a', 0xff, 0xfe]).unwrap();
    assert_eq!(
        Shop::read(&path).unwrap_err().to_string(),
        format!(
            "{}: the shop file cannot be read (invalid utf-8 sequence of 1 bytes from index 1); \
             check its name and that it is a text file",
            path.display()
        )
    );

    let path = folder.path().join("model.stl");
    std::fs::write(&path, vec![b'#'; (1 << 20) + 1]).unwrap();
    assert_eq!(
        Shop::read(&path).unwrap_err().to_string(),
        format!(
            "{}: longer than 1024 kB, which no shop file is; check that this is not a model",
            path.display()
        )
    );
}
