//! What does it cost to take a large log in, beside the bare scan and group-by of the same file?
//!
//! `cargo bench --bench intake` (Polars must be optimised: the `dev` profile's is not, and says nothing).
//! `-- 10000000` for other numbers of rows (1 000 000, 10 000 000 and, as Parquet only, 100 000 000 if none is given),
//! `-- --mountings 900000` for many small mountings, read in but not analysed. The files are made in the system's
//! temporary folder and removed. Every figure is of a process of its own, that reports its time and its largest memory.

use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Instant;

use daylight::analysis::antennas::set_analysis::Options;
use daylight::analysis::antennas::{Choice, analyse};
use daylight::season::Season;
use polars::prelude::*;

const SESSIONS: usize = 40;
const ANTENNAS: usize = 10;
const BANDS: [&str; 2] = ["2 m", "70 cm"];
/// Meter, quantity, a middling value, a step of the display.
const READ: [(&str, &str, f64, f64); 3] =
    [("inline", "forward_power", 4.6, 0.01), ("analyzer", "swr", 1.7, 0.01), ("field", "field_strength", -24.0, 0.1)];
const CHUNK: usize = 1 << 20;

/// The rows of an invented log, in the order in which a bench writes them: antenna on, then every band and meter, again
/// and again.
struct Rows {
    mountings: usize,
    repeats: usize,
    next: usize,
    rows: usize,
    state: u64,
}

struct Row {
    session: usize,
    antenna: usize,
    mounting: usize,
    band: usize,
    read: usize,
    value: f64,
}

impl Rows {
    fn new(rows: usize, mountings: Option<usize>) -> Rows {
        let kinds = BANDS.len() * READ.len();
        let per_visit = mountings.map_or(2, |m| (m / (SESSIONS * ANTENNAS * kinds)).max(1));
        let repeats = (rows / (SESSIONS * ANTENNAS * per_visit * kinds)).max(1);
        Rows { mountings: per_visit, repeats, next: 0, rows, state: 1 }
    }

    /// Roughly normal, from a small generator of its own: the figures themselves are of no interest here.
    fn noise(&mut self) -> f64 {
        let mut sum = 0.0;
        for _ in 0..4 {
            self.state = self.state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            sum += (self.state >> 11) as f64 / (1u64 << 53) as f64 - 0.5;
        }
        sum
    }
}

impl Iterator for Rows {
    type Item = Row;

    fn next(&mut self) -> Option<Row> {
        if self.next == self.rows {
            return None;
        }
        let mut place = self.next;
        self.next += 1;
        let mut digit = |base: usize| {
            let digit = place % base;
            place /= base;
            digit
        };
        let (read, band, _) = (digit(READ.len()), digit(BANDS.len()), digit(self.repeats));
        let (mounting, antenna, session) = (digit(self.mountings), digit(ANTENNAS), digit(SESSIONS));
        let (_, _, middle, step) = READ[read];
        let spread = step * 6.0;
        let level = middle + spread * ((antenna * 7 + band * 3) % 10) as f64;
        let value = (((level + spread * self.noise()) / step).round() * step * 1000.0).round() / 1000.0;
        Some(Row { session, antenna, mounting, band, read, value })
    }
}

fn session(number: usize) -> String {
    format!("2026-{:02}-{:02}", 1 + number / 28 % 12, 1 + number % 28)
}

fn write_csv(path: &Path, rows: Rows) -> std::io::Result<()> {
    let mut file = BufWriter::with_capacity(1 << 20, std::fs::File::create(path)?);
    writeln!(file, "session,antenna,mounting,band,meter,quantity,value")?;
    for row in rows {
        let (meter, quantity, _, _) = READ[row.read];
        writeln!(
            file,
            "{},antenna {},{},{},{meter},{quantity},{}",
            session(row.session),
            row.antenna,
            row.mounting + 1,
            BANDS[row.band],
            row.value
        )?;
    }
    file.flush()
}

fn write_parquet(path: &Path, mut rows: Rows) -> PolarsResult<()> {
    let mut writer = None;
    loop {
        let part: Vec<Row> = rows.by_ref().take(CHUNK).collect();
        if part.is_empty() {
            break;
        }
        let text = |name: &str, of: &dyn Fn(&Row) -> String| {
            Column::new(name.into(), part.iter().map(of).collect::<Vec<String>>())
        };
        let frame = DataFrame::new(
            part.len(),
            vec![
                text("session", &|r| session(r.session)),
                text("antenna", &|r| format!("antenna {}", r.antenna)),
                Column::new("mounting".into(), part.iter().map(|r| r.mounting as i64 + 1).collect::<Vec<_>>()),
                text("band", &|r| BANDS[r.band].into()),
                text("meter", &|r| READ[r.read].0.into()),
                text("quantity", &|r| READ[r.read].1.into()),
                Column::new("value".into(), part.iter().map(|r| r.value).collect::<Vec<_>>()),
            ],
        )?;
        if writer.is_none() {
            writer = Some(ParquetWriter::new(std::fs::File::create(path)?).batched(frame.schema())?);
        }
        if let Some(writer) = &mut writer {
            writer.write_batch(&frame)?;
        }
    }
    if let Some(writer) = writer {
        writer.finish()?;
    }
    Ok(())
}

/// The bare work: the file scanned, grouped by mounting, and counted, averaged and spread.
fn bare(path: &Path) -> PolarsResult<usize> {
    let plain = PlRefPath::try_from_path(path)?;
    let scan = match path.extension().is_some_and(|e| e == "parquet") {
        true => LazyFrame::scan_parquet(plain, Default::default())?,
        false => LazyCsvReader::new(plain).finish()?,
    };
    let keys = ["session", "antenna", "band", "meter", "quantity", "mounting"].map(col);
    let value = || col("value");
    let grouped =
        scan.group_by(keys).agg([len().alias("n"), value().mean().alias("mean"), value().var(1).alias("var")]);
    Ok(grouped.collect_with_engine(Engine::Streaming)?.unwrap_single().height())
}

/// One piece of work in this process: prints its seconds, its largest memory in MiB, and how much it made.
fn child(what: &str, path: &Path) {
    let start = Instant::now();
    let made = match what {
        "bare" => bare(path).expect("the file is good"),
        _ => {
            let season = Season::load(path).unwrap_or_else(|e| panic!("{e}"));
            let mountings = season.readings.frame.height();
            if what == "antennas" {
                let options = Options { confidence: 0.95, seed: 1, trials: None };
                let answer = analyse(&season, &Choice::default(), &options, &|| ()).expect("the season is good");
                assert_eq!(answer.sets.len(), BANDS.len() * READ.len());
            }
            mountings
        }
    };
    println!("{} {} {made}", start.elapsed().as_secs_f64(), peak_mib());
}

/// The largest memory this process has held, by the system's own account; NaN on systems without one.
fn peak_mib() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    line.and_then(|l| l.split_whitespace().next()?.parse::<f64>().ok()).map_or(f64::NAN, |kib| kib / 1024.0)
}

/// The best time of several runs, and the largest memory of any.
fn measured(what: &str, path: &Path, runs: usize) -> (f64, f64, usize) {
    let (mut best, mut peak, mut made) = (f64::INFINITY, 0.0, 0);
    for _ in 0..runs {
        let program = std::env::current_exe().expect("this program has a path");
        let output = Command::new(program).args(["--child", what]).arg(path).output().expect("it runs again");
        let said = String::from_utf8_lossy(&output.stdout);
        let mut figures = said.split_whitespace().map(|f| f.parse::<f64>().unwrap_or(f64::NAN));
        let (Some(time), Some(memory), Some(count)) = (figures.next(), figures.next(), figures.next()) else {
            panic!("{what} on {}: {}", path.display(), String::from_utf8_lossy(&output.stderr));
        };
        best = f64::min(best, time);
        peak = f64::max(peak, memory);
        made = count as usize;
    }
    (best, peak, made)
}

fn main() {
    let args: Vec<String> = std::env::args().skip(1).filter(|a| a != "--bench").collect();
    if let [flag, what, path] = args.as_slice()
        && flag == "--child"
    {
        return child(what, Path::new(path));
    }
    let after = args.iter().position(|a| a == "--mountings").and_then(|at| args.get(at + 1)?.parse::<usize>().ok());
    let mut sizes: Vec<usize> = match args.first() {
        Some(first) if first != "--mountings" => args.iter().map_while(|a| a.parse().ok()).collect(),
        _ => vec![1_000_000, 10_000_000, 100_000_000],
    };
    if after.is_some() && args[0] == "--mountings" {
        sizes = vec![10_000_000];
    }
    println!("rows        form     work       seconds  over bare  peak MiB  mountings");
    let folder: PathBuf = std::env::temp_dir().join(format!("daylight-intake-{}", std::process::id()));
    std::fs::create_dir_all(&folder).expect("the temporary folder takes a folder");
    for rows in sizes {
        for form in ["parquet", "csv"] {
            if rows > 20_000_000 && form == "csv" {
                continue; // some six gigabytes
            }
            let path = folder.join(format!("log.{form}"));
            let made = Rows::new(rows, after);
            match form {
                "csv" => write_csv(&path, made).expect("the disk takes the file"),
                _ => write_parquet(&path, made).expect("the disk takes the file"),
            }
            let runs = if rows > 20_000_000 { 1 } else { 3 };
            let work: &[&str] = if after.is_some() { &["bare", "intake"] } else { &["bare", "intake", "antennas"] };
            let mut base = f64::NAN;
            for &what in work {
                let (time, peak, mountings) = measured(what, &path, runs);
                if what == "bare" {
                    base = time;
                }
                println!("{rows:<11} {form:<8} {what:<9} {time:8.2}  {:9.2}  {peak:8.0}  {mountings:9}", time / base);
            }
            std::fs::remove_file(&path).ok();
        }
    }
    std::fs::remove_dir_all(&folder).ok();
}
