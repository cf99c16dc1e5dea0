//! Writes large mold halves for measuring speed.

#[allow(dead_code, reason = "the benches use more of it")]
#[path = "../benches/workloads/mod.rs"]
mod workloads;

use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::Path;
use workloads::Workload;

const USAGE: &str =
    "usage: make_workload W1 OUT.stl | W2 OUT.stl [TRIANGLES] | W3 OUT.stl | W4 FOLDER [MODELS]";

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    match args.iter().map(String::as_str).collect::<Vec<_>>()[..] {
        ["W1", path] => write(&Workload::w1(), Path::new(path))?,
        ["W2", path] => write(&Workload::w2(5_000_000), Path::new(path))?,
        ["W2", path, triangles] => write(&Workload::w2(triangles.parse()?), Path::new(path))?,
        ["W3", path] => write(&Workload::w3(), Path::new(path))?,
        ["W4", folder] => write_small(Path::new(folder), 200)?,
        ["W4", folder, models] => write_small(Path::new(folder), models.parse()?)?,
        _ => return Err(USAGE.into()),
    }
    Ok(())
}

fn write_small(folder: &Path, count: usize) -> io::Result<()> {
    fs::create_dir_all(folder)?;
    (0..count).try_for_each(|k| {
        write(
            &Workload::w4(k, count),
            &folder.join(format!("small-{k:03}.stl")),
        )
    })
}

fn write(workload: &Workload, path: &Path) -> io::Result<()> {
    let mut out = BufWriter::new(File::create(path)?);
    workload.write_stl("Workload for measuring speed; invented data; mm", &mut out)?;
    out.flush()?;
    println!("{}: {} triangles", path.display(), workload.triangles());
    Ok(())
}
