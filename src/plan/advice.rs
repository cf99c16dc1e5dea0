//! What a plan says in words: what to mind, what it went by, what goes first.

use super::{PlanConfig, TIME_RANGE};
use crate::report::plan::{BallPlan, HalfPlan, SetBy};
use crate::report::{Finding, Verdict};
use crate::shop::{Edges, Shop, ToolMaterial};
use std::collections::BTreeMap;

/// A share of the surface that is worth a finding.
const MUCH: f64 = 0.25;

/// What to mind, half by half; all to be watched, none a failure.
pub fn findings(halves: &[HalfPlan], shop: &Shop) -> Vec<Finding> {
    let mut findings = Vec::new();
    for half in halves {
        let mut tell = |message: String, value: Option<f64>, unit: Option<&str>, limit| {
            findings.push(Finding {
                half: Some(half.name.clone()),
                value,
                unit: unit.map(str::to_owned),
                limit,
                ..Finding::plain("plan", Verdict::Watch, &message)
            });
        };
        let Some(best) = half.sets.first() else {
            tell(
                "No set of cutters can be named: no tool of the rack reaches the cavity. Add longer stickouts or \
                 smaller cutters."
                    .to_owned(),
                None,
                None,
                None,
            );
            continue;
        };
        if half.unfinished_mm2 > 1e-3 * half.surface_mm2 {
            tell(
                format!(
                    "No tool of the rack does {:.1} % of the surface within what may stay; the sets leave there about \
                     what the whole rack leaves. Add a smaller cutter or a longer stickout.",
                    100.0 * half.unfinished_mm2 / half.surface_mm2
                ),
                Some(half.unfinished_mm2),
                Some("mm2"),
                None,
            );
        }
        for tool in &best.tools {
            let Some(ball) = half.balls.iter().find(|b| b.name == tool.cutter) else {
                continue;
            };
            speed_findings(ball, shop, &mut tell);
            bending_findings(ball, tool.stickout_mm, shop, &mut tell);
        }
    }
    findings
}

type Tell<'a> = dyn FnMut(String, Option<f64>, Option<&str>, Option<f64>) + 'a;

fn speed_findings(ball: &BallPlan, shop: &Shop, tell: &mut Tell) {
    let Some(row) = shop.planning.row() else {
        return;
    };
    let name = &ball.name;
    let marked = if row.builtin {
        " (common practice, no source)"
    } else {
        ""
    };
    if ball.slow_share > MUCH {
        let why = match ball.rpm_set_by {
            SetBy::Machine => "the machine turns no faster",
            SetBy::Cutter => "its maker allows no more",
            _ => "the surface lies too level",
        };
        tell(
            format!(
                "The edge of the {name} is slower than the least cutting speed for {}{marked} on {:.0} % of what it \
                 does: {why}. It rubs more than it cuts there; take a faster spindle or a larger ball if there is one.",
                row.name,
                100.0 * ball.slow_share
            ),
            Some(ball.slow_share),
            None,
            Some(MUCH),
        );
    }
    if ball.tip_share > MUCH {
        tell(
            format!(
                "The tip of the {name}, where the edge stands still, does {:.0} % of its surface. A flat or bull-nose \
                 cutter is better on level floors.",
                100.0 * ball.tip_share
            ),
            Some(ball.tip_share),
            None,
            Some(MUCH),
        );
    }
    let full = shop.planning.machine.rpm.min(
        shop.cutters
            .iter()
            .find(|c| c.name == *name)
            .and_then(|c| c.edges.rpm)
            .unwrap_or(f64::INFINITY),
    );
    if ball.rpm_set_by == SetBy::Material {
        tell(
            format!(
                "At {full:.0} 1/min the {name} would cut faster than the most for {}{marked}. Turn it at no more than \
                 {:.0} 1/min.",
                row.name, ball.rpm
            ),
            Some(ball.rpm),
            None,
            Some(full),
        );
    }
}

fn bending_findings(ball: &BallPlan, stickout: f64, shop: &Shop, tell: &mut Tell) {
    let wanted = &shop.planning.wanted;
    let Some(tool) = ball.tools.iter().find(|t| t.stickout_mm == stickout) else {
        return;
    };
    if tool.slenderness > wanted.slender {
        let most = match ball.stickout_most_mm {
            Some(most) if most < stickout => {
                "A shorter stickout does nine tenths of what it reaches: use the long one only where it must."
            }
            _ => "Take light cuts.",
        };
        tell(
            format!(
                "The {} is slender: it stands out {:.1} times its diameter, more than {:.1} (common practice, no \
                 source). {most}",
                ball.name, tool.slenderness, wanted.slender
            ),
            Some(tool.slenderness),
            None,
            Some(wanted.slender),
        );
    }
    if tool.bend_mm > wanted.bend {
        tell(
            format!(
                "The {} bends under the side load {:.1} times as much as it may, as far out as in the best set. Its feed \
                 is lowered to {:.0} %; a shorter stickout or a thicker shank saves that.",
                ball.name,
                tool.bend_mm / wanted.bend,
                (100.0 * tool.feed_share).floor()
            ),
            Some(tool.bend_mm),
            Some("mm"),
            Some(wanted.bend),
        );
    }
}

/// What goes before any figure of a plan.
pub fn cautions() -> Vec<String> {
    [
        "Every figure here is an estimate. Speeds, feeds and stickouts go first by the cutter maker's data, the \
         machine's limits, the workholding and licensed practice; a long stickout lowers the safe speed.",
        "Cusp heights and roughness are those of ideal passes: a real surface is rougher by runout, wear and bending.",
        "Times leave out setting up, clamping, measuring, and moves between regions; roughing is volume over removal \
         rate.",
    ]
    .map(str::to_owned)
    .to_vec()
}

/// Everything the estimates go by, by name with the unit at its end: [`crate::report::plan::Plan::inputs`].
pub fn inputs(config: &PlanConfig) -> BTreeMap<String, serde_json::Value> {
    use serde_json::json;
    let shop = &config.check.shop;
    let planning = &shop.planning;
    let (machine, wanted) = (&planning.machine, &planning.wanted);
    let mut inputs = BTreeMap::new();
    let mut put = |key: &str, value: serde_json::Value| {
        inputs.insert(key.to_owned(), value);
    };
    put("machine_rpm", json!(machine.rpm));
    put("machine_feed_mm_min", json!(machine.feed));
    put("machine_acceleration_mm_s2", json!(machine.acceleration));
    put("tool_change_s", json!(machine.tool_change));
    put("cusp_mm", json!(wanted.cusp));
    put("semi_cusp_mm", json!(wanted.semi_cusp));
    put("share", json!(wanted.share));
    put("stock_mm", json!(wanted.stock));
    put("side_load_n", json!(wanted.side_load));
    put("bend_mm", json!(wanted.bend));
    put("slender", json!(wanted.slender));
    put("leave_mm", json!(shop.limits.leave));
    put("time_range", json!(TIME_RANGE));
    put("direction_deg", json!(config.direction_deg));
    put("step_mm", json!(config.step));
    put("shop", json!(shop.source));
    put("material", json!(planning.material));
    if let Some(row) = planning.row() {
        put("speed_m_min", json!(row.speed));
        put("chip_share", json!(row.chip_share));
        put("rough_depth", json!(row.rough_depth));
        put("rough_width", json!(row.rough_width));
        put("material_is_common_practice", json!(row.builtin));
    }
    put("teeth_not_stated", json!(Edges::TEETH));
    put(
        "modulus_n_mm2",
        json!({
            "carbide": ToolMaterial::Carbide.modulus(),
            "high_speed_steel": ToolMaterial::HighSpeedSteel.modulus(),
        }),
    );
    inputs
}
