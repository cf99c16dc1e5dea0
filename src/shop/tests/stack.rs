use super::*;
use Part::{Holder as InHolder, Neck as InNeck, Shank as InShank};
use proptest::prelude::*;

fn segment(part: Part, radii: [f64; 2], heights: [f64; 2]) -> Segment {
    Segment {
        part,
        lower_radius: radii[0],
        upper_radius: radii[1],
        from: heights[0],
        to: heights[1],
    }
}

fn collet() -> Holder {
    let section = |lower_diameter, upper_diameter, height| Section {
        lower_diameter,
        upper_diameter,
        height,
    };
    Holder {
        name: "collet".into(),
        sections: vec![section(20.0, 20.0, 30.0), section(20.0, 40.0, 10.0)],
    }
}

/// 6 mm ball, flutes to 10, neck of 5 mm to 25, shank of 8 mm to the face at 40, then the collet.
#[test]
fn every_part() {
    let cutter = Cutter {
        flute_length: Some(10.0),
        neck: Some(Neck {
            diameter: 5.0,
            length: 25.0,
        }),
        shank: Some(8.0),
        ..Cutter::ball(6.0)
    };
    let tool = cutter.tool(40.0, &collet());
    assert_eq!(tool.name, "6mm ball, stickout 40mm");
    assert_eq!(tool.cutter, "6mm ball");
    assert_eq!(tool.holder, "collet");
    assert_eq!((tool.stickout, tool.flutes_to), (40.0, 10.0));
    assert_eq!(
        tool.segments,
        [
            segment(InNeck, [2.5, 2.5], [10.0, 25.0]),
            segment(InShank, [4.0, 4.0], [25.0, 40.0]),
            segment(InHolder, [10.0, 10.0], [40.0, 70.0]),
            segment(InHolder, [10.0, 20.0], [70.0, 80.0]),
            segment(InHolder, [20.0, 20.0], [80.0, f64::INFINITY]),
        ]
    );
}

#[test]
fn parts_not_stated() {
    // Flutes only: to the holder face; a last cylinder is one segment without end.
    let tool = Cutter::ball(6.0).tool(30.0, &Holder::default());
    assert_eq!(tool.flutes_to, 30.0);
    let holder = segment(InHolder, [12.5, 12.5], [30.0, f64::INFINITY]);
    assert_eq!(tool.segments, [holder]);

    // The shank not stated is as thick as the cutter.
    let fluted = Cutter {
        flute_length: Some(12.0),
        ..Cutter::ball(6.0)
    };
    let tool = fluted.tool(30.0, &Holder::default());
    let shank = segment(InShank, [3.0, 3.0], [12.0, 30.0]);
    assert_eq!(tool.segments, [shank, holder]);

    // A neck without flute length: flutes to its end.
    let necked = Cutter {
        neck: Some(Neck {
            diameter: 5.0,
            length: 20.0,
        }),
        shank: Some(8.0),
        ..Cutter::ball(6.0)
    };
    let tool = necked.tool(30.0, &Holder::default());
    assert_eq!(tool.flutes_to, 20.0);
    let shank = segment(InShank, [4.0, 4.0], [20.0, 30.0]);
    assert_eq!(tool.segments, [shank, holder]);
}

#[test]
fn the_holder_named_or_the_first() {
    let mut shop = shop(
        "units = 'mm'\n[[cutter]]\ndiameter = 6\nstickouts = [20]\nholder = 'b'\n\
         [[cutter]]\ndiameter = 8\nstickouts = [20]\n\
         [[holder]]\nname = 'a'\nsections = [ { diameter = 20, height = 9 } ]\n\
         [[holder]]\nname = 'b'\nsections = [ { diameter = 30, height = 9 } ]\n",
    );
    let holders: Vec<_> = shop.tools().into_iter().map(|(_, t)| t.holder).collect();
    assert_eq!(holders, ["b", "a"]);
    // Only a shop that check refuses lacks a holder; it gives no tool for the cutter.
    shop.cutters[0].holder = Some("c".into());
    assert!(shop.check().is_err());
    assert_eq!(shop.tools().len(), 1);
}

fn holders() -> impl Strategy<Value = Holder> {
    let section = (1.0..60.0_f64, 1.0..60.0_f64, 0.1..50.0_f64, any::<bool>()).prop_map(
        |(lower_diameter, upper, height, cylinder)| Section {
            lower_diameter,
            upper_diameter: if cylinder { lower_diameter } else { upper },
            height,
        },
    );
    prop::collection::vec(section, 1..4).prop_map(|sections| Holder {
        name: "any".into(),
        sections,
    })
}

fn cutters() -> impl Strategy<Value = Cutter> {
    let neck =
        (0.5..20.0_f64, 0.1..60.0_f64).prop_map(|(diameter, length)| Neck { diameter, length });
    (
        0.5..20.0_f64,
        prop::option::of(0.1..40.0_f64),
        prop::option::of(neck),
        prop::option::of(0.5..25.0_f64),
        1.0..120.0_f64,
    )
        .prop_map(|(diameter, flute_length, neck, shank, stickout)| Cutter {
            flute_length,
            neck,
            shank,
            stickouts: vec![stickout],
            ..Cutter::ball(diameter)
        })
}

proptest! {
    /// From the flutes up without gaps, never empty, parts in their order, the holder from its face on,
    /// and a cylinder without end on top.
    #[test]
    fn stacks_are_sound(cutter in cutters(), holder in holders()) {
        let tool = cutter.tool(cutter.stickouts[0], &holder);
        let order = |part| [InNeck, InShank, InHolder].iter().position(|&p| p == part);
        let (mut height, mut part) = (tool.flutes_to, InNeck);
        for segment in &tool.segments {
            prop_assert_eq!(segment.from, height);
            prop_assert!(segment.to > segment.from);
            prop_assert!(order(segment.part) >= order(part));
            prop_assert_eq!(segment.part == InHolder, segment.from >= tool.stickout);
            (height, part) = (segment.to, segment.part);
        }
        prop_assert_eq!(height, f64::INFINITY);
        let top = tool.segments[tool.segments.len() - 1];
        prop_assert_eq!(top.part, InHolder);
        prop_assert_eq!(top.lower_radius, top.upper_radius);
        let end = holder.sections[holder.sections.len() - 1].upper_diameter;
        prop_assert_eq!(top.upper_radius, 0.5 * end);
    }

    /// What a shop file can say comes back as it was said, and what it cannot is refused, not a panic.
    #[test]
    fn cutters_written_to_a_file_read_back(cutter in cutters()) {
        let length = |key: &str, mm: Option<f64>| {
            mm.map_or(String::new(), |mm| format!("{key} = {mm}\n"))
        };
        let text = format!(
            "units = 'mm'\n[[cutter]]\ndiameter = {}\n{}{}stickouts = [{}]\n{}",
            cutter.diameter,
            length("flute_length", cutter.flute_length),
            length("shank", cutter.shank),
            cutter.stickouts[0],
            cutter.neck.map_or(String::new(), |neck| format!(
                "neck = {{ diameter = {}, length = {} }}\n", neck.diameter, neck.length
            )),
        );
        let given = Shop { cutters: vec![cutter.clone()], ..Shop::builtin() };
        match Shop::from_toml(&text, "shop.toml") {
            Ok(read) => {
                prop_assert!(given.check().is_ok());
                // Numbers of 16 and 17 digits may lose their last bit.
                let near = |a: f64, b: f64| (a - b).abs() <= 1e-14 * b.abs();
                let back = &read.cutters[0];
                prop_assert!(near(back.diameter, cutter.diameter));
                prop_assert!(near(back.stickouts[0], cutter.stickouts[0]));
                prop_assert_eq!(back.flute_length.is_some(), cutter.flute_length.is_some());
                prop_assert_eq!(back.neck.is_some(), cutter.neck.is_some());
                prop_assert_eq!(back.shank.is_some(), cutter.shank.is_some());
            }
            Err(_) => prop_assert!(given.check().is_err()),
        }
    }

    #[test]
    fn any_text_gives_a_shop_or_a_line(
        text in "(\\[\\[?(cutter|holder|limits)\\]?\\]\n|(diameter|neck|stickouts) = |[ \\PC\n]{0,9}){0,12}"
    ) {
        match Shop::from_toml(&text, "shop.toml") {
            Ok(shop) => prop_assert!(shop.check().is_ok()),
            Err(ShopError::InFile { line, .. }) => {
                prop_assert!(line >= 1 && line <= 1 + text.matches('\n').count());
            }
            Err(other) => prop_assert!(false, "{}", other),
        }
    }
}
