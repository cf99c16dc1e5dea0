use super::*;

#[test]
fn what_is_not_toml() {
    // Between the brackets speaks the TOML reader, in words of its own.
    let text = "units = \"mm\"\n[[cutter]]\ndiameter = 1/8in\n";
    let message = Shop::from_toml(text, "shop.toml").unwrap_err().to_string();
    assert!(
        message.starts_with("shop.toml, line 3: not readable as TOML ("),
        "{message}"
    );
    let end = "); mind that a value with a unit needs quotes, as in \"6 mm\" or '1/8\"'";
    assert!(message.ends_with(end), "{message}");
    assert!(!message.contains('\n'), "{message}");
    let twice = "[[cutter]]\ndiameter = '6 mm'\ndiameter = '7 mm'";
    let message = Shop::from_toml(twice, "shop.toml").unwrap_err().to_string();
    assert!(
        message.starts_with("shop.toml, line 3: not readable as TOML ("),
        "{message}"
    );
}

#[test]
fn unknown_keys() {
    refused(
        "# a remark\n\n[[cutter]]\ndiametre = \"6 mm\"\n",
        "line 4: unknown key `diametre` in [[cutter]]; did you mean `diameter`?",
    );
    refused(
        "[limits]\nleaves = 1\n",
        "line 2: unknown key `leaves` in [limits]; did you mean `leave`?",
    );
    refused(
        "[[holder]]\nname = 'a'\nsection = []\n",
        "line 3: unknown key `section` in [[holder]]; did you mean `sections`?",
    );
    refused(
        "[[holder]]\nname = 'a'\nsections = [\n  { diameter = '9 mm', hight = '1 mm' },\n]\n",
        "line 4: unknown key `hight` in a section; did you mean `height`?",
    );
    refused(
        "[[cutter]]\ndiameter = '6 mm'\nneck = { diameter = '5 mm', lenght = '20 mm' }\n",
        "line 3: unknown key `lenght` in neck; did you mean `length`?",
    );
    refused(
        "spindle = 1\n",
        "line 1: unknown key `spindle` in the shop file; known here: `units`, `limits`, `cutter`, `holder`, `machine`, `material`, `plan`",
    );
    // The first in the file, not in the alphabet.
    refused(
        "[[cutter]]\nzzz = 1\naaa = 1\n",
        "line 2: unknown key `zzz` in [[cutter]]; known here: `name`, `diameter`, `corner_radius`, \
         `shape`, `flute_length`, `neck`, `shank`, `stickouts`, `holder`, `teeth`, `chip_load`, `rpm`, `made_of`",
    );
}

#[test]
fn wrong_types() {
    cutter_refused(
        "name = 6",
        "line 4: `name` must be a text such as \"collet\", not a number",
    );
    cutter_refused(
        "shank = true",
        "line 4: `shank` must be a length such as \"6 mm\", not true or false",
    );
    cutter_refused(
        "shank = 2020-01-01",
        "line 4: `shank` must be a length such as \"6 mm\", not a date",
    );
    cutter_refused(
        "shank = {}",
        "line 4: `shank` must be a length such as \"6 mm\", not a table",
    );
    cutter_refused(
        "stickouts = \"20 mm\"",
        "line 4: `stickouts` must be a list of lengths such as [\"20 mm\", \"1.5 in\"], not a text",
    );
    cutter_refused(
        "stickouts = [\n20,\n[30]]",
        "line 6: `stickouts` must be a length such as \"6 mm\", not a list",
    );
    cutter_refused(
        "neck = 5",
        "line 4: `neck` must be a table such as { diameter = \"3 mm\", length = \"20 mm\" }, not a number",
    );
    cutter_refused(
        "shape = 1",
        "line 4: `shape` must be \"ball\" or \"flat\", not a number",
    );
    refused(
        "units = 1",
        "line 1: `units` must be \"mm\" or \"inch\", not a number",
    );
    refused(
        "[limits]\ndraft = []",
        "line 2: `draft` must be an angle such as \"3 deg\", not a list",
    );
    refused(
        "[limits]\ndraft_min_area = []",
        "line 2: `draft_min_area` must be an area such as \"0.5 mm2\", not a list",
    );
    refused(
        "\n[cutter]\ndiameter = \"6 mm\"",
        "line 2: `cutter` must be a section [[cutter]] for each cutter, in two brackets, not a table",
    );
    refused(
        "\n[holder]\nname = \"a\"",
        "line 2: `holder` must be a section [[holder]] for each holder, in two brackets, not a table",
    );
    refused(
        "limits = 3",
        "line 1: `limits` must be a section [limits], not a number",
    );
    refused(
        "[[holder]]\nname = 'a'\nsections = ['20 mm']",
        "line 3: `sections` must be a list such as [ { diameter = \"20 mm\", height = \"30 mm\" } ], \
         not a text",
    );
}

#[test]
fn missing_keys() {
    refused(
        "\n[[cutter]]\nname = \"a\"\n",
        "line 2: [[cutter]] has no `diameter`; add one, such as diameter = \"6 mm\"",
    );
    cutter_refused(
        "neck = { length = 20 }",
        "line 4: neck has no `diameter`; add one, such as diameter = \"3 mm\"",
    );
    cutter_refused(
        "neck = { diameter = 5 }",
        "line 4: neck has no `length`; add one, such as length = \"20 mm\"",
    );
    refused(
        "[[holder]]\nsections = []",
        "line 1: [[holder]] has no `name`; add one, such as name = \"collet\"",
    );
    refused(
        "[[holder]]\nname = 'a'",
        "line 1: [[holder]] has no `sections`; add one, such as sections = \
         [ { diameter = \"20 mm\", height = \"30 mm\" } ]",
    );
    refused(
        "[[holder]]\nname = 'a'\nsections = [ { diameter = '9 mm' } ]",
        "line 3: a section has no `height`; add one, such as height = \"30 mm\"",
    );
}

#[test]
fn figures_and_units() {
    refused(
        "[[cutter]]\ndiameter = 4.5\n",
        "line 2: diameter 4.5 has no unit; write \"4.5 mm\" or \"4.5 in\", or put units = \"mm\" at the top",
    );
    refused(
        "[[cutter]]\ndiameter = \"1/8\"\n",
        "line 2: diameter 1/8 has no unit; write \"1/8 mm\" or \"1/8 in\", or put units = \"mm\" at the top",
    );
    refused(
        "units = \"cm\"",
        "line 1: units: `cm` is not a unit for models and shop files; write `mm` or `inch`",
    );
    let example = "for example `3.175mm`, `1/8in` or `0.125\"`";
    cutter_refused(
        "shank = -6",
        &format!("line 4: shank: `-6` is negative; write a length of 0 or more, {example}"),
    );
    for (value, text) in [("nan", "NaN"), ("inf", "inf"), ("'thick'", "thick")] {
        cutter_refused(
            &format!("shank = {value}"),
            &format!("line 4: shank: `{text}` is not a length; write {example}"),
        );
    }
    cutter_refused(
        "stickouts = [\n  20,\n  \"3 feet\",\n]",
        &format!(
            "line 6: stickouts: `3 feet` is not a length, because `feet` is none of the units mm, cm, um, \
             in, \" or thou; write {example}"
        ),
    );
    refused(
        "[limits]\ndraft = \"1 mm\"",
        "line 2: draft: `1 mm` is not an angle, because `mm` is none of the units deg or °; \
         write for example `3deg` or `0.5°`",
    );
    refused(
        "[limits]\ndraft_min_area = \"1 mm\"",
        "line 2: draft_min_area: `1 mm` is not an area, because `mm` is none of the units mm2, cm2 or in2; \
         write for example `0.5mm2`",
    );
}

#[test]
fn sizes_of_zero() {
    refused(
        "[[cutter]]\ndiameter = \"0 mm\"",
        "line 2: diameter is 0 mm; it must be more than 0",
    );
    cutter_refused(
        "flute_length = 0",
        "line 4: flute_length is 0 mm; it must be more than 0",
    );
    cutter_refused("shank = 0", "line 4: shank is 0 mm; it must be more than 0");
    cutter_refused(
        "[cutter.neck]\nlength = 9\ndiameter = 0",
        "line 6: neck diameter is 0 mm; it must be more than 0",
    );
    cutter_refused(
        "[cutter.neck]\nlength = 0\ndiameter = 5",
        "line 5: neck length is 0 mm; it must be more than 0",
    );
    cutter_refused(
        "stickouts = [\n  20,\n  0,\n]",
        "line 6: stickout is 0 mm; it must be more than 0",
    );
    for (section, key) in [
        ("diameter = 0, height = 1", "diameter"),
        ("diameter = 1, height = 0", "height"),
        ("lower = 0, upper = 1, height = 1", "lower"),
        ("lower = 1, upper = 0, height = 1", "upper"),
    ] {
        refused(
            &format!("units = 'inch'\n[[holder]]\nname = 'a'\nsections = [\n  {{ {section} }},\n]"),
            &format!("line 5: {key} is 0 in; it must be more than 0"),
        );
    }
}

#[test]
fn limits_out_of_range() {
    refused(
        "[limits]\ndraft = 90",
        "line 2: draft is 90°; it must be from 0° to less than 90°",
    );
    refused(
        "[limits]\ncrease = \"181 deg\"",
        "line 2: crease is 181°; it must be from 0° to 180°",
    );
    // Negative lengths do not pass the file's reader.
    let mut shop = Shop::builtin();
    shop.limits.leave = -1.0;
    let message = shop.check().unwrap_err().to_string();
    assert_eq!(message, "leave is -1 mm; it must be 0 or more");
    shop.limits = Limits {
        draft_min_area: f64::NAN,
        ..Limits::default()
    };
    let message = shop.check().unwrap_err().to_string();
    assert_eq!(message, "draft_min_area is NaN mm²; it must be 0 or more");
}

#[test]
fn impossible_corners() {
    refused(
        "units = \"mm\"\n\n[[cutter]]\ndiameter = 6\n# too much\ncorner_radius = 4\n",
        "line 6: corner_radius 4 mm is more than half the diameter 6 mm; use 3 mm for a ball",
    );
    // Not rounded into nonsense: 1.5875 would be 1.588 with three decimals.
    refused(
        "[[cutter]]\ndiameter = '1/8in'\ncorner_radius = '1.589 mm'",
        "line 3: corner_radius 1.589 mm is more than half the diameter 3.175 mm; use 1.5875 mm for a ball",
    );
    refused(
        "units = \"inch\"\n[[cutter]]\ndiameter = 0.25\ncorner_radius = 0.25",
        "line 4: corner_radius 0.25 in is more than half the diameter 0.25 in; use 0.125 in for a ball",
    );
    cutter_refused(
        "corner_radius = 1\nshape = \"ball\"",
        "line 5: shape and corner_radius both say what the corner is; leave one of them out",
    );
    cutter_refused(
        "shape = \"cone\"",
        "line 4: unknown shape `cone`; write \"ball\" or \"flat\", or a corner_radius for a bull-nose",
    );
    let mut shop = Shop::builtin();
    shop.cutters[0].corner_radius = -0.5;
    let message = shop.check().unwrap_err().to_string();
    assert_eq!(message, "corner_radius is -0.5 mm; it must be 0 or more");
}

#[test]
fn impossible_stacks() {
    cutter_refused(
        "flute_length = 2",
        "line 4: flute_length 2 mm is shorter than the corner radius 3 mm; measure it from the tip, \
         3 mm or more",
    );
    cutter_refused(
        "flute_length = 12\nneck = { diameter = 5, length = 10 }",
        "line 5: neck length 10 mm is shorter than flute_length 12 mm; measure it from the tip, \
         12 mm or more",
    );
    cutter_refused(
        "neck = { diameter = 5, length = 2 }",
        "line 4: neck length 2 mm is shorter than the corner radius 3 mm; measure it from the tip, \
         3 mm or more",
    );
    cutter_refused(
        "\nshank = 8",
        "line 5: shank 8 mm is thicker than the cutter 6 mm, so where the flutes end matters; \
         add flute_length",
    );
    cutter_refused(
        "neck = { diameter = 7, length = 20 }",
        "line 4: neck 7 mm is thicker than the cutter 6 mm, so where the flutes end matters; \
         add flute_length",
    );
    // A neck says where a thick shank begins, and a thin one rubs nowhere.
    shop("units = 'mm'\n[[cutter]]\ndiameter = 6\nshank = 8\nneck = { diameter = 5, length = 20 }");
}

#[test]
fn impossible_stickouts() {
    cutter_refused(
        "flute_length = 12\nstickouts = [30, 10]",
        "line 5: stickout 10 mm would draw the flutes of `6mm ball` into the holder; use 12 mm or more",
    );
    cutter_refused(
        "name = 'long'\nflute_length = 12\nneck = { diameter = 5, length = 25 }\nstickouts = [20]",
        "line 7: stickout 20 mm would draw the neck of `long` into the holder; use 25 mm or more",
    );
    cutter_refused(
        "stickouts = [2]",
        "line 4: stickout 2 mm would draw the corner of `6mm ball` into the holder; use 3 mm or more",
    );
    cutter_refused(
        "stickouts = [20, 30, 20]",
        "line 4: stickout 20 mm of `6mm ball` stands twice; take one out",
    );
    // Up to the holder face is possible.
    shop("units = 'mm'\n[[cutter]]\ndiameter = 6\nflute_length = 12\nstickouts = ['12 mm']");
}

#[test]
fn names_and_holders() {
    refused(
        "[[cutter]]\ndiameter = '6 mm'\n\n[[cutter]]\ndiameter = '6 mm'\n",
        "line 4: two cutters are named `6mm ball`; give one of them another name",
    );
    let holder =
        "[[holder]]\nname = 'collet'\nsections = [ { diameter = '9 mm', height = '9 mm' } ]\n";
    refused(
        &format!("{holder}{holder}"),
        "line 5: two holders are named `collet`; give one of them another name",
    );
    refused(
        &format!("{holder}[[cutter]]\ndiameter = '6 mm'\nholder = 'colet'"),
        "line 6: no holder is named `colet`; did you mean `collet`?",
    );
    refused(
        &format!("{holder}[[cutter]]\ndiameter = '6 mm'\nholder = 'shrink fit'"),
        "line 6: no holder is named `shrink fit`; known here: `collet`",
    );
    let bad = "a name must be some text on one line, such as name = \"long 1/8 ball\"";
    cutter_refused("name = ' '", &format!("line 4: {bad}"));
    cutter_refused("name = \"a\\nb\"", &format!("line 4: {bad}"));
    refused(
        "[[holder]]\nsections = [ { diameter = '9 mm', height = '9 mm' } ]\nname = ''",
        &format!("line 3: {bad}"),
    );
}

#[test]
fn empty_and_ambiguous_holders() {
    refused(
        "[[holder]]\nname = 'collet'\nsections = []",
        "line 3: holder `collet` has no sections; add one, such as { diameter = \"20 mm\", height = \"30 mm\" }",
    );
    for section in [
        "height = '1 mm'",
        "lower = '1 mm', height = '1 mm'",
        "diameter = '1 mm', upper = '1 mm', height = '1 mm'",
    ] {
        refused(
            &format!("[[holder]]\nname = 'a'\nsections = [ {{ {section} }} ]"),
            "line 3: a section takes either diameter (a cylinder) or both lower and upper (a cone); \
             write one of the two",
        );
    }
    refused(
        "\nholder = []",
        "line 2: the shop has no holder; add one, or leave holders out for a plain cylinder",
    );
    refused("\ncutter = []", "line 2: the rack is empty; add a cutter");
}

#[test]
fn planning() {
    refused(
        "[machine]\nrpm = 0\n",
        "line 2: rpm is 0; it must be from 1 to 1000000",
    );
    refused(
        "[plan]\nmaterial = \"steal\"\n",
        "line 2: there is no material `steal`; did you mean `steel`?",
    );
    refused(
        "[[material]]\nname = \"bronze\"\n",
        "line 1: [[material]] has no `speed_m_per_min`; add one, such as speed_m_per_min = [50, 150]",
    );
    refused(
        "[[material]]\nname = \"steel\"\nspeed_sfm = [1, 2]\nspeed_m_per_min = [1, 2]\n",
        "line 3: a material has speed_m_per_min or speed_sfm, not both; take one out",
    );
    cutter_refused(
        "teeth = 2.5",
        "line 4: teeth is 2.5; it must be a whole number from 1 to 99",
    );
    cutter_refused(
        "made_of = \"wood\"",
        "line 4: made_of is \"wood\"; it must be \"carbide\" or \"hss\"",
    );
}
