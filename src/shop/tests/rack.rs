use super::*;

#[test]
fn the_built_in_rack() {
    let shop = Shop::builtin();
    shop.check().unwrap();
    let rack: Vec<_> = shop
        .tools()
        .iter()
        .map(|(_, tool)| tool.name.clone())
        .collect();
    // 3, 5 and 8 diameters, up to whole 5 mm or 1/4 in, at least 12 mm or 1/2 in:
    // 4 mm: 12, 20, 32 -> 12, 20, 35; 3/16 in: 9/16, 15/16, 1-1/2 -> 3/4, 1, 1-1/2.
    let expected = [
        ("1mm ball", "12mm"),
        ("1.5mm ball", "12mm"),
        ("1/16in ball", "1/2in"),
        ("2mm ball", "12mm 20mm"),
        ("3mm ball", "12mm 15mm 25mm"),
        ("1/8in ball", "1/2in 3/4in 1in"),
        ("4mm ball", "12mm 20mm 35mm"),
        ("3/16in ball", "3/4in 1in 1-1/2in"),
        ("6mm ball", "20mm 30mm 50mm"),
        ("1/4in ball", "3/4in 1-1/4in 2in"),
        ("8mm ball", "25mm 40mm 65mm"),
        ("3/8in ball", "1-1/4in 2in 3in"),
        ("10mm ball", "30mm 50mm 80mm"),
        ("12mm ball", "40mm 60mm 100mm"),
        ("1/2in ball", "1-1/2in 2-1/2in 4in"),
    ];
    let expected: Vec<_> = expected
        .iter()
        .flat_map(|(name, outs)| {
            outs.split(' ')
                .map(move |out| format!("{name}, stickout {out}"))
        })
        .collect();
    assert_eq!(rack, expected);
    assert!(shop.cutters.iter().all(|c| c.kind() == CutterKind::Ball));
}

#[test]
fn balls_name_themselves() {
    for (diameter, name) in [
        (3.175, "1/8in ball"),
        (12.7, "1/2in ball"),
        (6.0, "6mm ball"),
        (0.8, "0.8mm ball"),
    ] {
        let ball = Cutter::ball(diameter);
        assert_eq!((ball.name.as_str(), ball.kind()), (name, CutterKind::Ball));
    }
}

#[test]
fn stickouts_cross_every_cutter() {
    let mut shop = Shop::builtin();
    let cutters = shop.cutters.len();
    shop.with_stickouts(vec![20.0, 31.75]).unwrap();
    let tools = shop.tools();
    assert_eq!(tools.len(), 2 * cutters);
    for (place, (cutter, tool)) in tools.iter().enumerate() {
        assert_eq!(*cutter, place / 2);
        assert_eq!(tool.cutter, shop.cutters[*cutter].name);
        assert_eq!(tool.stickout, [20.0, 31.75][place % 2]);
    }
    assert_eq!(tools[1].1.name, "1mm ball, stickout 1-1/4in");
}

#[test]
fn refused_changes_change_nothing() {
    let mut shop =
        shop("units = 'mm'\n[[cutter]]\ndiameter = 6\nflute_length = 12\nstickouts = [20]");
    let before = shop.clone();
    for (stickouts, message) in [
        (
            vec![30.0, 10.0],
            "stickout 10 mm would draw the flutes of `6mm ball` into the holder; use 12 mm or more",
        ),
        (
            vec![30.0, 30.0],
            "stickout 30 mm of `6mm ball` stands twice; take one out",
        ),
        (
            vec![f64::INFINITY],
            "stickout is inf mm; it must be more than 0",
        ),
    ] {
        assert_eq!(
            shop.with_stickouts(stickouts).unwrap_err().to_string(),
            message
        );
    }
    for (balls, message) in [
        (vec![0.0], "diameter is 0 mm; it must be more than 0"),
        (vec![f64::NAN], "diameter is NaN mm; it must be more than 0"),
        (
            vec![6.0, 6.0],
            "two cutters are named `6mm ball`; give one of them another name",
        ),
        (vec![], "the rack is empty; add a cutter"),
    ] {
        assert_eq!(shop.with_balls(balls).unwrap_err().to_string(), message);
    }
    assert_eq!(shop, before);

    shop.with_balls(vec![6.0, 3.175]).unwrap();
    // 3, 5 and 8 diameters: 18, 30 and 48 mm up to whole 5 mm; 3/8, 5/8 and 1 in up to quarters, at least 1/2 in
    let in_stickouts = |diameter: f64, stickouts: &[f64]| {
        let mut cutter = Cutter::ball(diameter);
        cutter.stickouts = stickouts.to_vec();
        cutter
    };
    let inch = in_stickouts(3.175, &[12.7, 3.0 * (25.4 / 4.0), 25.4]);
    assert_eq!(shop.cutters, [in_stickouts(6.0, &[20.0, 30.0, 50.0]), inch]);
}
