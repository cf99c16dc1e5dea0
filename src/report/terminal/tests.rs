use super::super::samples;
use super::super::text::width;
use super::*;

const PLAIN: Style = Style {
    colour: false,
    width: 80,
    unit: Unit::Mm,
};

/// `text` without terminal colours.
fn without_colours(text: &str) -> String {
    let mut pieces = text.split('\u{1b}');
    let first = pieces.next().unwrap_or("").to_string();
    pieces.fold(first, |text, piece| {
        text + piece.split_once('m').expect("a colour ends with m").1
    })
}

#[test]
fn no_line_is_wider_than_the_page() {
    for unit in [Unit::Mm, Unit::Inch] {
        for columns in [60, 80, 120] {
            for report in samples::all() {
                let style = Style {
                    width: columns,
                    unit,
                    ..PLAIN
                };
                for line in render(&report, style).lines() {
                    assert!(width(line) <= columns, "{}: {line:?}", width(line));
                    assert_eq!(line, line.trim_end());
                }
            }
        }
    }
}

#[test]
fn colours_change_nothing_but_the_colours() {
    for report in samples::all() {
        let plain = render(&report, PLAIN);
        assert!(!plain.contains('\u{1b}') && !plain.contains('\u{a0}'));
        let painted = render(
            &report,
            Style {
                colour: true,
                ..PLAIN
            },
        );
        assert!(painted.contains('\u{1b}'));
        assert_eq!(without_colours(&painted), plain);
    }
}

#[test]
fn the_first_line_is_the_answer_and_the_last_the_caution() {
    let answers = [
        (
            samples::sound(),
            "PASS    Nothing found that stands in the way. Every check is within its limit.\n",
        ),
        (
            samples::pair(),
            "FAIL    Not ready to mill. Undercut, half B: The cap lip hooks under the wall\n        \
             and locks a stiff casting.\n",
        ),
    ];
    for (report, answer) in answers {
        let text = render(&report, PLAIN);
        assert!(text.starts_with(answer), "{text}");
        assert!(text.ends_with(
            "This is advice, not a release to cut. What the cutter maker, the machine, the\n\
             workholding and the local rules allow comes first.\n"
        ));
    }
}

#[test]
fn lengths_are_in_the_readers_unit() {
    let mm = render(&samples::pair(), PLAIN);
    let inch = render(
        &samples::pair(),
        Style {
            unit: Unit::Inch,
            ..PLAIN
        },
    );
    assert!(mm.contains("A hook of 5 ± 0.02 mm"));
    // 5 / 25.4 = 0.19685 and 0.02 / 25.4 = 0.000787, which leaves four decimals
    assert!(inch.contains("A hook of 0.1969 ± 0.0009 in"), "{inch}");
    // 10, -4.25 and 3 mm
    assert!(inch.contains("X 0.3937, Y -0.1673, Z 0.1181"));
    assert!(!inch.contains(" mm"), "{inch}");
    assert!(mm.contains("leave 0.02 mm") && inch.contains("leave 0.0008 in"));
}

#[test]
fn what_asks_for_a_smaller_ball_is_told_with_its_place() {
    let text = render(&samples::pair(), PLAIN);
    let words = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        words.contains("What the 3/4in ball leaves: 317.4 mm² at X 1, Y 2, Z -3"),
        "{words}"
    );
}

#[test]
fn findings_stand_worst_first_with_place_figure_and_limit() {
    let text = render(&samples::pair(), PLAIN);
    let found = text.split("What was found").nth(1).unwrap();
    let at = |word| found.find(word).unwrap();
    assert!(at("FAIL") < at("UNSURE") && at("UNSURE") < at("WATCH"));
    assert!(found.contains("  1  FAIL    Undercut, half B; 5 mm, limit 0 mm\n"));
    assert!(
        found.contains("from the block's corner") && found.contains("(file X 10, Y -4.25, Z 3)")
    );
    // a count has no unit
    assert!(found.contains("  2  UNSURE  Mesh; 3\n"));
}

#[test]
fn a_half_without_cavity_gets_words_and_no_tables() {
    let text = render(&samples::no_cavity(), PLAIN);
    let words: Vec<_> = text.split_whitespace().collect();
    let said = "None was found, so undercut, draft, reach and depth have no meaning here.";
    assert!(words.join(" ").contains(said), "{text}");
    for absent in ["clears", "left high", "stickout", "not known", "?"] {
        assert!(!text.contains(absent), "{absent}: {text}");
    }
}

#[test]
fn a_big_rack_takes_one_line_a_cutter() {
    let text = render(&samples::big_rack(false), PLAIN);
    // the line in the table of cutters, the line in the table of tool lengths
    assert_eq!(text.matches("15/16in ball").count(), 2);
    let line = text
        .lines()
        .rfind(|line| line.contains("15/16in ball"))
        .unwrap();
    // 19.05 / 3 and 31.75 / 3
    assert_eq!(
        line.split_whitespace().collect::<Vec<_>>().join(" "),
        "15/16in ball 41 % to 6.35, holder 41 % to 10.58, shank all, to 20"
    );
    assert!(text.contains("stickout 19.05"));
}

#[test]
fn names_from_outside_cannot_steer_the_terminal() {
    assert!(!render(&samples::strange(), PLAIN).contains('\u{1b}'));
}
