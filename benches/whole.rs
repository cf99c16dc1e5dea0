//! Time of whole checks: by stage for W1, and against triangles, columns, ball radius, balls and threads.
//!
//! `cargo bench --bench whole` writes `benches/scaling.csv` and draws it as `benches/scaling.svg`; `-- --stages` only prints the
//! stages of W1. Medians of [`RUNS`] runs of library calls, from the file's bytes to `report.json`.

mod plot;
#[allow(dead_code, reason = "the example uses more of it")]
mod workloads;

use moldvet::mesh::{Limits, from_bytes};
use moldvet::report::json::to_json;
use moldvet::shop::Shop;
use moldvet::units::Unit;
use moldvet::vet::{CheckConfig, check};
use plot::Series;
use std::error::Error;
use std::hint::black_box;
use std::sync::Mutex;
use std::time::Instant;
use workloads::Workload;

/// Runs of which the median is taken.
const RUNS: usize = 3;
/// Balls of the rack, mm.
const BALLS: [f64; 6] = [2.0, 3.0, 4.0, 6.0, 8.0, 10.0];
/// Stickouts of each, mm.
const STICKOUTS: [f64; 5] = [15.0, 20.0, 25.0, 30.0, 40.0];

/// A named stretch of a run and its time, s.
type Laps = Vec<(&'static str, f64)>;

fn main() -> Result<(), Box<dyn Error>> {
    let w1 = file(&Workload::w1())?;
    stages(&w1)?;
    if std::env::args().any(|arg| arg == "--stages") {
        return Ok(());
    }
    let all = [
        triangles()?,
        columns(&w1)?,
        radius(&w1)?,
        balls(&w1)?,
        threads(&w1)?,
    ];
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/benches");
    std::fs::write(format!("{folder}/scaling.csv"), plot::csv(&all))?;
    std::fs::write(format!("{folder}/scaling.svg"), plot::svg(&all))?;
    println!("wrote benches/scaling.csv and benches/scaling.svg");
    Ok(())
}

fn stages(file: &[u8]) -> Result<(), Box<dyn Error>> {
    let runs: Vec<Laps> = (0..RUNS)
        .map(|_| run(file, &BALLS, None))
        .collect::<Result<_, _>>()?;
    println!("W1, medians of {RUNS}, s:");
    let mut whole = 0.0;
    for k in 0..runs[0].len() {
        let time = median(runs.iter().map(|laps| laps[k].1).collect());
        whole += time;
        println!("{time:8.3}  {}", runs[0][k].0);
    }
    println!("{whole:8.3}  sum");
    Ok(())
}

fn triangles() -> Result<Series, Box<dyn Error>> {
    let mut series = Series::new("triangles", "s");
    for cells in [50, 100, 200, 350, 499, 700] {
        let workload = Workload {
            cells,
            ..Workload::w1()
        };
        let file = file(&workload)?;
        series.add(workload.triangles() as f64, time(&file, &BALLS, None)?);
    }
    Ok(series)
}

fn columns(file: &[u8]) -> Result<Series, Box<dyn Error>> {
    let mut series = Series::new("columns, millions", "s");
    for cell in [0.4, 0.2, 0.1, 0.05, 0.025] {
        let columns = (workloads::SIDE_MM / cell).powi(2) / 1e6;
        series.add(columns, time(file, &BALLS, Some(cell))?);
    }
    Ok(series)
}

fn radius(file: &[u8]) -> Result<Series, Box<dyn Error>> {
    let mut series = Series::new("ball diameter, mm, one ball", "s");
    for ball in [2.0, 4.0, 6.0, 8.0, 12.0, 16.0] {
        series.add(ball, time(file, &[ball], None)?);
    }
    Ok(series)
}

fn balls(file: &[u8]) -> Result<Series, Box<dyn Error>> {
    let mut series = Series::new("balls", "s");
    for count in 1..=BALLS.len() {
        series.add(count as f64, time(file, &BALLS[..count], None)?);
    }
    Ok(series)
}

fn threads(file: &[u8]) -> Result<Series, Box<dyn Error>> {
    let mut series = Series::new("threads", "s");
    let most = std::thread::available_parallelism()?.get();
    for count in 1..=most {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(count).build()?;
        series.add(
            count as f64,
            pool.install(|| time(file, &BALLS, None).map_err(|e| e.to_string()))?,
        );
    }
    Ok(series)
}

fn file(workload: &Workload) -> Result<Vec<u8>, Box<dyn Error>> {
    let mut file = Vec::new();
    workload.write_stl("workload", &mut file)?;
    Ok(file)
}

fn time(file: &[u8], balls: &[f64], cell: Option<f64>) -> Result<f64, Box<dyn Error>> {
    let whole = |laps: Laps| laps.iter().map(|lap| lap.1).sum();
    let times = (0..RUNS).map(|_| run(file, balls, cell).map(whole));
    Ok(median(times.collect::<Result<_, _>>()?))
}

/// One check, and the time between its reports of progress.
fn run(file: &[u8], balls: &[f64], cell: Option<f64>) -> Result<Laps, Box<dyn Error>> {
    let mut shop = Shop::builtin();
    shop.with_balls(balls.to_vec())?;
    shop.with_stickouts(STICKOUTS.to_vec())?;
    let config = CheckConfig {
        shop,
        axis: None,
        cell,
        not_cavity: Vec::new(),
        meets: Vec::new(),
        fill_density: None,
    };
    let laps = Mutex::new((Laps::new(), "reading the file", Instant::now()));
    let begin = |name| {
        if let Ok(mut laps) = laps.lock() {
            let (before, since) = (laps.1, laps.2.elapsed().as_secs_f64());
            match laps.0.iter_mut().find(|lap| lap.0 == before) {
                Some(lap) => lap.1 += since,
                None => laps.0.push((before, since)),
            }
            (laps.1, laps.2) = (name, Instant::now());
        }
    };
    let model = from_bytes(file, "workload", Unit::Mm, &Limits::default())?;
    let report = check(&[model], &config, &|stage| begin(stage.name))?;
    begin("writing the report");
    black_box(to_json(&report)?);
    begin("");
    Ok(laps.into_inner().map(|laps| laps.0).unwrap_or_default())
}

fn median(mut times: Vec<f64>) -> f64 {
    times.sort_by(f64::total_cmp);
    times[times.len() / 2]
}
