//! How much memory the work will take, and how much it may.

use moldvet::mesh::{Body, Model};
use moldvet::vet::{CheckConfig, columns_of};
use std::fs;

/// Bytes a triangle at the peak of a check, its mesh, topology, tree and surface: measured 800 on half a million.
const PER_TRIANGLE: f64 = 900.0;
/// Bytes a column, its crossings, labels and maps: measured 28 to 31, 29 on 100 million columns.
const PER_COLUMN: f64 = 31.0;
/// Bytes for the rest, the nodes and samples of as many cutters as are tried at a time: measured 55 MiB for one, 110 for
/// four, and 45 for the program.
const REST: f64 = 224.0 * 1048576.0;

/// About how many bytes a check of `models` by `check` takes; of a body, if
/// `block` tells the factor that it is enlarged by and the margin of the block around it, mm.
pub fn needed(models: &[Model], block: Option<[f64; 2]>, check: &CheckConfig) -> u64 {
    let mut need = REST;
    for model in models {
        let bodies = model.bodies.iter();
        let triangles = bodies.map(|b| b.mesh.triangles.len()).sum::<usize>() as f64;
        let mut sides = longest_sides(&model.bodies);
        let halves = match (block, models.len(), model.bodies.len()) {
            (None, 1, 2..) | (Some(_), ..) => 2.0,
            _ => 1.0,
        };
        if let Some([scale, margin]) = block {
            sides = sides.map(|side| scale * side + 2.0 * margin);
        }
        // of columns that are too many whatever the memory the check tells
        let columns = columns_of(sides, check).map_or(0.0, |(_, columns)| columns);
        need += PER_TRIANGLE * triangles + PER_COLUMN * halves * columns;
    }
    need as u64
}

/// The two longest sides of the box around all bodies, mm: whatever the tool axis of a block, its plan is no larger.
fn longest_sides(bodies: &[Body]) -> [f64; 2] {
    let boxes = bodies.iter().filter_map(|b| b.mesh.bounds());
    let around = boxes.reduce(|a, b| (a.0.inf(&b.0), a.1.sup(&b.1)));
    let mut sides = around.map_or([0.0; 3], |(lo, hi)| (hi - lo).into());
    sides.sort_by(|a: &f64, b| b.total_cmp(a));
    [sides[0], sides[1]]
}

/// Half of the memory that is free, bytes: of the machine, or of the group of processes that this one is confined to.
/// `None` where the system does not tell.
pub fn half_of_free() -> Option<u64> {
    let machine = fs::read_to_string("/proc/meminfo").ok();
    let confined = ["memory.max", "memory/memory.limit_in_bytes"];
    let confined = confined
        .iter()
        .filter_map(|name| fs::read_to_string(format!("/sys/fs/cgroup/{name}")).ok())
        .filter_map(|text| text.trim().parse().ok());
    let all = machine.and_then(|text| available(&text)).into_iter();
    all.chain(confined).min().map(|free: u64| free / 2)
}

/// What `/proc/meminfo` says is available (proc(5): in kB of 1024 bytes).
fn available(text: &str) -> Option<u64> {
    let mut lines = text.lines();
    let line = lines.find_map(|line| line.strip_prefix("MemAvailable:"))?;
    let number = line.split_whitespace().next()?;
    Some(number.parse::<u64>().ok()?.saturating_mul(1024))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_available_is_found_by_its_name() {
        let text = "MemTotal:       2048 kB\nMemFree:  1 kB\nMemAvailable:   1024 kB\n";
        assert_eq!(available(text), Some(1 << 20));
        assert_eq!(available("MemTotal: 2048 kB\n"), None);
    }
}
