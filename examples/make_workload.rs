//! Writes a large mold half for measuring speed: `make_workload W1 out.stl` or `make_workload W2 out.stl [triangles]`.

#[allow(dead_code, reason = "the benches use more of it")]
#[path = "../benches/workloads/mod.rs"]
mod workloads;

use std::fs::File;
use std::io::{BufWriter, Write};
use workloads::Workload;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let (workload, path) = match args.iter().map(String::as_str).collect::<Vec<_>>()[..] {
        ["W1", path] => (Workload::w1(), path),
        ["W2", path] => (Workload::w2(5_000_000), path),
        ["W2", path, triangles] => (Workload::w2(triangles.parse()?), path),
        _ => {
            return Err(
                "usage: make_workload W1 OUT.stl | make_workload W2 OUT.stl [TRIANGLES]".into(),
            );
        }
    };
    let mut out = BufWriter::new(File::create(path)?);
    workload.write_stl("Workload for measuring speed; invented data; mm", &mut out)?;
    out.flush()?;
    println!("{path}: {} triangles", workload.triangles());
    Ok(())
}
