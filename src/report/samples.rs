//! Invented reports for the tests of the report's faces.

use super::*;
use crate::shop::CutterKind;

/// A report of each kind.
pub(super) fn all() -> Vec<Report> {
    vec![
        sound(),
        pair(),
        no_cavity(),
        big_rack(false),
        big_rack(true),
        strange(),
    ]
}

/// One half that passes, without findings.
pub(super) fn sound() -> Report {
    Report {
        format: FORMAT.into(),
        units: "mm".into(),
        verdict: Verdict::Pass,
        settings: [
            ("leave_mm", 0.02.into()),
            ("draft_deg", 1.0.into()),
            ("draft_min_area_mm2", 0.5.into()),
            ("rack", "built in".into()),
            ("cutters", serde_json::json!([{"name": "1/8in ball"}])),
        ]
        .map(|(key, value): (&str, serde_json::Value)| (key.to_string(), value))
        .into(),
        halves: vec![half("A")],
        mating: None,
        body: None,
        findings: Vec::new(),
        plan: None,
    }
}

/// Two halves with a hook, too little draft and pins.
pub(crate) fn pair() -> Report {
    let mut report = sound();
    report.verdict = Verdict::Fail;
    let mut b = half("B");
    b.tool_axis = [0.6, 0.0, 0.8];
    b.mesh.closed = false;
    b.mesh.open_edges = 3;
    b.undercut = Undercut {
        verdict: Verdict::Fail,
        hidden_area_mm2: Some(1400.0),
        hidden_area_mm2_pm: Some(12.0),
        hidden_volume_mm3: Some(2400.0),
        hidden_volume_mm3_pm: Some(20.0),
        hook_mm: Some(5.0),
        hook_mm_pm: Some(0.02),
        threshold_mm: 0.002,
        regions: [
            (RegionKind::Undercut, 5.0),
            (RegionKind::OtherSide, 0.0),
            (RegionKind::Sealed, 0.0),
        ]
        .map(|(kind, hook_mm)| UndercutRegion {
            at_mm: [10.0, -4.25, 3.0],
            area_mm2: 1400.0,
            volume_mm3: 2400.0,
            hook_mm,
            kind,
        })
        .to_vec(),
    };
    b.draft.verdict = Verdict::Watch;
    b.draft.tallest_short_wall_mm = Some(0.75);
    b.draft.tallest_short_wall_mm_pm = Some(0.01);
    b.reach.verdict = Verdict::Unsure;
    b.reach.smallest_ball_needed = None;
    b.reach.sharp_edges = [
        (SharpEdgeKind::Floor, 120.5),
        (SharpEdgeKind::Upright, 12.0),
        (SharpEdgeKind::Point, 0.0),
    ]
    .map(|(kind, length_mm)| SharpEdge {
        kind,
        length_mm,
        at_mm: [1.0, 2.0, 3.0],
    })
    .to_vec();
    b.cavity.hollows.push(Hollow {
        at_mm: [40.0, 40.0, 10.0],
        volume_mm3: 282.74,
        depth_mm: 10.0,
        surface_mm2: 216.77,
        kind: HollowKind::Socket,
    });
    report.halves.push(b);
    report.mating = Some(mating());
    report.findings = vec![
        Finding {
            check: "draft".into(),
            verdict: Verdict::Watch,
            half: Some("B".into()),
            message: "A short wall has less draft than asked for. Lean it out, or let it pass with `--wall`.".into(),
            at_mm: Some([1.0, 2.0, 3.0]),
            value: Some(0.75),
            unit: Some("mm".into()),
            limit: Some(1.0),
        },
        Finding {
            check: "undercut".into(),
            verdict: Verdict::Fail,
            half: Some("B".into()),
            message: "The cap lip hooks under the wall and locks a stiff casting. Split the mold here, \
                      or fill the hook; a flexible casting may forgive it (`--forgive`)."
                .into(),
            at_mm: Some([10.0, -4.25, 3.0]),
            value: Some(5.0),
            unit: Some("mm".into()),
            limit: Some(0.0),
        },
        Finding {
            check: "mesh".into(),
            verdict: Verdict::Unsure,
            half: None,
            message: "The mesh has 3 open edges. Close them before you rely on this report.".into(),
            at_mm: None,
            value: Some(3.0),
            unit: None,
            limit: None,
        },
    ];
    report
}

/// A block without any hollow: figures are null.
pub(super) fn no_cavity() -> Report {
    let mut report = sound();
    report.verdict = Verdict::Fail;
    let half = &mut report.halves[0];
    half.cavity = Cavity {
        volume_mm3: None,
        volume_mm3_pm: None,
        depth_mm: None,
        depth_mm_pm: None,
        surface_mm2: None,
        surface_mm2_pm: None,
        hollows: Vec::new(),
    };
    half.undercut.hidden_area_mm2 = None;
    half.undercut.hidden_volume_mm3 = None;
    half.undercut.hook_mm = None;
    half.draft.least_deg = None;
    half.draft.bands.clear();
    half.reach.smallest_concave_radius_mm = None;
    half.reach.cutters.clear();
    half.depth.tools.clear();
    report.findings.push(Finding {
        check: "setup".into(),
        verdict: Verdict::Fail,
        half: Some("A".into()),
        message: "This looks like the part, not the mold. Give the mold half.".into(),
        at_mm: None,
        unit: None,
        value: None,
        limit: None,
    });
    report
}

/// Fifteen cutters at three stickouts each, the same for all or not.
pub(super) fn big_rack(own_stickouts: bool) -> Report {
    let mut report = sound();
    let half = &mut report.halves[0];
    half.reach.cutters.clear();
    half.depth.tools.clear();
    for k in 1..=15u32 {
        let diameter = f64::from(k) * 25.4 / 16.0;
        let cutter = cutter(&format!("{k}/16in ball"), diameter);
        for (n, stickout) in [19.05, 31.75, 50.8].into_iter().enumerate() {
            let short = n < 2 && k > 4;
            half.depth.tools.push(ToolDepth {
                name: format!("{} at {stickout}", cutter.name),
                cutter: cutter.name.clone(),
                stickout_mm: stickout + if own_stickouts { diameter } else { 0.0 },
                holder: "default".into(),
                deepest_mm: Some(if short { stickout / 3.0 } else { 20.0 }),
                deepest_mm_pm: Some(0.05),
                reached_share: Some(if short { 0.418 } else { 1.0 }),
                reached_share_pm: Some(0.012),
                blocked_by: short.then_some(if n == 0 {
                    Blocker::Holder
                } else {
                    Blocker::Shank
                }),
                at_mm: None,
            });
        }
        half.reach.cutters.push(cutter);
    }
    report
}

/// Hostile names and extreme figures.
pub(super) fn strange() -> Report {
    let mut report = pair();
    report.verdict = Verdict::Unsure;
    let half = &mut report.halves[0];
    half.file = format!(
        "{}\u{1b}[31m{}.stl",
        "very-long-name-".repeat(12),
        "金型".repeat(30)
    );
    half.tool_axis_why = "because ".repeat(40);
    half.mesh.size_mm = [1e12, 1e-12, 123456.789];
    half.cavity.volume_mm3 = Some(1.23456e15);
    half.undercut.hidden_volume_mm3 = None;
    half.draft.bands[0].area_mm2 = 1e14;
    for (k, cutter) in half.reach.cutters.iter_mut().enumerate() {
        cutter.name = format!("a cutter of an uncommon make and shape, number {k}");
        cutter.left_area_mm2 = Some(1e13);
        cutter.left_volume_mm3 = Some(1.5e15);
        cutter.left_volume_mm3_pm = None;
        cutter.clears = None;
    }
    for tool in &mut half.depth.tools {
        tool.cutter = "a cutter of an uncommon make and shape".repeat(3);
        tool.deepest_mm = None;
        tool.reached_share = None;
    }
    report.findings[1].message = "x".repeat(300);
    report.findings[0].at_mm = Some([-1e9, 1e9, -123456789.123]);
    report
}

fn cutter(name: &str, diameter: f64) -> CutterReach {
    CutterReach {
        name: name.into(),
        kind: CutterKind::Ball,
        diameter_mm: diameter,
        corner_radius_mm: diameter / 2.0,
        clears: Some(diameter < 12.0),
        left_height_mm: Some(if diameter < 12.0 { 0.004 } else { 2.0211 }),
        left_height_mm_pm: Some(0.003),
        left_area_mm2: Some(if diameter < 12.0 { 0.0 } else { 317.4 }),
        left_area_mm2_pm: Some(4.1),
        left_volume_mm3: Some(if diameter < 12.0 { 1.2 } else { 850.9 }),
        left_volume_mm3_pm: Some(0.7),
        at_mm: Some([1.0, 2.0, -3.0]),
        left_regions: (diameter >= 12.0)
            .then_some(LeftRegion {
                at_mm: [1.0, 2.0, -3.0],
                area_mm2: 317.4,
                height_mm: 2.0211,
            })
            .into_iter()
            .collect(),
        stickout_needed_mm: Some(24.1),
        stickout_needed_mm_pm: Some(0.2),
    }
}

fn half(name: &str) -> Half {
    let cutters = vec![cutter("1/8in ball", 3.175), cutter("3/4in ball", 19.05)];
    let tool = |cutter: &str, stickout_mm: f64, share: f64| ToolDepth {
        name: format!("{cutter} at {stickout_mm}"),
        cutter: cutter.into(),
        stickout_mm,
        holder: "plain 40".into(),
        deepest_mm: Some(20.0 * share),
        deepest_mm_pm: Some(0.05),
        reached_share: Some(share),
        reached_share_pm: Some(0.01),
        blocked_by: (share < 1.0).then_some(Blocker::Holder),
        at_mm: Some([0.0, 0.0, 0.0]),
    };
    Half {
        name: name.into(),
        file: "acorn.stl".into(),
        body: 0,
        tool_axis: [0.0, 0.0, 1.0],
        tool_axis_why: "of the largest flat areas, the one that sees the largest hollow".into(),
        parting_level_mm: 25.0,
        parting_flat: true,
        touch_off_mm: Some([0.0, 0.0, 25.0]),
        mesh: MeshHealth {
            triangles: 20560,
            vertices: 10282,
            closed: true,
            open_edges: 0,
            nonmanifold_edges: 0,
            degenerate_triangles: 0,
            duplicated_triangles: 0,
            flipped_triangles: 0,
            inside_out: false,
            size_mm: [100.0, 80.0, 40.0],
            chord_error_mm: 0.0048,
            two_readings_edges: 0,
            crossed_columns: 0,
            crossed_at_mm: None,
            undecided_at_mm: None,
        },
        blank: Blank {
            margin_mm: 3.0,
            block_mm: [86.0, 66.0, 31.0],
            round_diameter_mm: 106.0,
            round_length_mm: 31.0,
        },
        grid: GridInfo {
            cell_mm: 0.05,
            columns: [2000, 1600],
        },
        cavity: Cavity {
            volume_mm3: Some(16755.161),
            volume_mm3_pm: Some(12.0),
            depth_mm: Some(20.0),
            depth_mm_pm: Some(0.005),
            surface_mm2: Some(2513.3),
            surface_mm2_pm: Some(2.5),
            hollows: vec![Hollow {
                at_mm: [0.0, 0.0, 5.0],
                volume_mm3: 16755.161,
                depth_mm: 20.0,
                surface_mm2: 2513.3,
                kind: HollowKind::Cavity,
            }],
        },
        undercut: Undercut {
            verdict: Verdict::Pass,
            hidden_area_mm2: Some(0.0),
            hidden_area_mm2_pm: Some(0.0),
            hidden_volume_mm3: Some(0.0),
            hidden_volume_mm3_pm: Some(0.0),
            hook_mm: Some(0.0),
            hook_mm_pm: Some(0.002),
            threshold_mm: 0.002,
            regions: Vec::new(),
        },
        draft: Draft {
            verdict: Verdict::Pass,
            required_deg: 1.0,
            least_deg: Some(0.6),
            least_deg_pm: Some(0.7),
            bands: [
                (-90.0, -0.05, 0.0),
                (-0.05, 0.05, 0.0),
                (0.05, 1.0, 43.9),
                (1.0, 3.0, 87.7),
                (3.0, 15.0, 518.9),
                (15.0, 90.0, 1862.8),
            ]
            .map(|(from_deg, to_deg, area_mm2)| DraftBand {
                from_deg,
                to_deg,
                area_mm2,
            })
            .to_vec(),
            short_area_mm2: Some(43.9),
            short_area_mm2_pm: Some(1.0),
            tallest_short_wall_mm: Some(0.0),
            tallest_short_wall_mm_pm: None,
            at_mm: Some([20.0, 0.0, 25.0]),
        },
        reach: Reach {
            verdict: Verdict::Pass,
            leave_mm: 0.02,
            smallest_concave_radius_mm: Some(2.5),
            smallest_concave_radius_mm_pm: Some(0.01),
            at_mm: Some([12.5, -7.25, 13.0]),
            sharp_edges: Vec::new(),
            smallest_ball_needed: Some("1/8in ball".into()),
            best_ball: Some("1/8in ball".into()),
            radius_map: Some(RadiusMap {
                visible_area_mm2: 4000.0,
                overhung_area_mm2: 0.0,
                most_radius_mm: 100.0,
                steps: vec![RadiusStep {
                    radius_mm: 2.8,
                    area_mm2: 120.0,
                    area_mm2_pm: 8.0,
                    share: 0.03,
                    share_pm: 0.002,
                    places: 1,
                    regions: vec![RadiusRegion {
                        at_mm: [12.0, 8.0, -18.0],
                        area_mm2: 120.0,
                        smallest_radius_mm: 2.5,
                        smallest_radius_mm_pm: 0.01,
                    }],
                }],
            }),
            cutters,
        },
        depth: Depth {
            verdict: Verdict::Pass,
            tools: vec![
                tool("1/8in ball", 38.1, 0.75),
                tool("1/8in ball", 50.8, 1.0),
                tool("3/4in ball", 50.8, 0.63),
            ],
        },
    }
}

/// Two halves laid open, with one pin, one gate and a step.
fn mating() -> Mating {
    Mating {
        verdict: Verdict::Pass,
        layout: Layout::Open,
        closed_by: "B was turned over onto A, outline on outline".into(),
        b_to_closed: [
            [1.0, 0.0, 0.0, 0.0],
            [0.0, -1.0, 0.0, 80.0],
            [0.0, 0.0, -1.0, 40.0],
        ],
        gap_mm: Some(0.01),
        gap_mm_pm: Some(0.001),
        gap_at_mm: Some([5.0, 6.0, 20.0]),
        overlap_mm: Some(0.0),
        overlap_mm_pm: Some(0.001),
        overlap_at_mm: None,
        near_rim_mm: 5.0,
        outline_mismatch_mm: Some(0.12),
        outline_mismatch_mm_pm: Some(0.01),
        outline: Some(OutlineFit {
            at_mm: [20.0, 0.0, 20.0],
            mean_offset_mm: [0.04, 0.0, 0.0],
            turn_deg: 0.0,
            turn_about_mm: [0.0, 0.0, 20.0],
            shift_mm: [-0.12, 0.0, 0.0],
            residual_mm: 0.0,
            one_sided: vec![OneSided {
                half: "A".into(),
                length_mm: 31.5,
                at_mm: [35.0, 0.0, 20.0],
            }],
        }),
        closed_volume_mm3: Some(33510.3),
        closed_volume_mm3_pm: Some(25.0),
        fill_density_g_cm3: Some(0.96),
        fill_weight_g: Some(32.17),
        faces: PartingFaces {
            area_mm2: 2500.0,
            contact_share: Some(0.93),
            gap_mm: 0.2,
            gap_area_mm2: 12.0,
            gap_at_mm: Some([33.0, 20.0, 20.0]),
            overlap_mm: 0.0,
            overlap_area_mm2: 0.0,
            overlap_at_mm: None,
        },
        pins: vec![Pin {
            at_mm: [40.0, 40.0, 0.0],
            half: "A".into(),
            socket: true,
            pin_diameter_mm: Some(5.98),
            socket_diameter_mm: Some(6.0),
            diameter_mm_pm: Some(0.01),
            radial_clearance_mm: Some(0.01),
            clearance_mm: Some(0.004),
            clearance_at_mm: Some([37.0, 40.0, 4.0]),
            clearance_most_mm: Some(0.016),
            clearance_most_at_mm: Some([43.0, 40.0, 4.0]),
            offset_mm: None,
            pin_height_mm: 8.0,
            socket_depth_mm: Some(10.0),
            axial_clearance_mm: Some(2.0),
            bottoms_out: Some(false),
        }],
        empty_sockets: vec![Socket {
            half: "B".into(),
            at_mm: [-40.0, 40.0, 0.0],
            diameter_mm: 6.0,
            depth_mm: 10.0,
            faces_hole: false,
        }],
        hollows: vec![ClosedHollow {
            at_mm: [0.0, 0.0, 18.0],
            volume_mm3: 33510.3,
            openings: vec![Opening {
                kind: OpeningKind::Side,
                at_mm: [30.0, 0.0, 20.0],
                size_mm: Some(4.0),
            }],
            smallest_opening_mm: Some(4.0),
            thinnest_wall_mm: Some(9.5),
            thinnest_wall_mm_pm: Some(0.01),
            thinnest_wall_half: Some("A".into()),
            thinnest_wall_at_mm: Some([20.0, 0.0, 19.0]),
            thinnest_section_mm: Some(3.2),
            thinnest_section_mm_pm: Some(0.02),
            thinnest_section_at_mm: Some([1.0, 2.0, 17.0]),
        }],
        trapped_by: Vec::new(),
        stays_in: Some("A".into()),
    }
}
