//! `plan` and the looks, from outside: on the demo seasons and on small ones made here.

#![allow(clippy::unwrap_used)] // helpers of tests may fail as tests do

use std::fs;

use daylight::analysis::antennas::set_analysis::Options;
use daylight::analysis::antennas::{Choice, analyse};
use daylight::analysis::plan::components::Origin;
use daylight::analysis::plan::result::Plan;
use daylight::analysis::plan::{Request, plan};
use daylight::report::{plan_text, sheet};
use daylight::season::Season;
use tempfile::TempDir;

fn options(trials: usize) -> Options {
    Options { confidence: 0.95, seed: 1, trials: Some(trials) }
}

fn season(text: &str, log: &str) -> (TempDir, Season) {
    let dir = tempfile::tempdir().unwrap();
    fs::write(dir.path().join("season.toml"), text).unwrap();
    fs::write(dir.path().join("log.csv"), log).unwrap();
    let season = Season::load_before_readings(dir.path()).unwrap_or_else(|e| panic!("{e}"));
    (dir, season)
}

fn made(season: &Season, request: &Request, trials: usize) -> Result<Plan, String> {
    plan(season, request, &options(trials), &|| ())
}

const HEADER: &str = "session,antenna,band,meter,quantity,value,unit,mounting\n";
const THREE: &str = "reference = \"a\"\n[[band]]\nname = \"2 m\"\n[[meter]]\nname = \"field\"\nkind = \"field\"\n\
                     [[meter]]\nname = \"inline\"\nkind = \"in-line\"\n[[load]]\nname = \"fifty\"\nresistance_ohm = 50.0\n\
                     [[antenna]]\nname = \"a\"\n[[antenna]]\nname = \"b\"\n[[antenna]]\nname = \"c\"\n";

/// Three sessions of three antennas, two mountings of one reading; c is 3 dB above, a and b a hair apart.
fn small_log() -> String {
    let mut log = HEADER.to_string();
    let wobble = [0.3, -0.2, 0.1, -0.4, 0.2, 0.0, -0.1, 0.4, -0.3];
    for s in 0..3 {
        for (a, (name, level)) in [("a", 0.0), ("b", 0.3), ("c", 3.0)].iter().enumerate() {
            for m in 0..2 {
                let value = level + f64::from(s) + wobble[(3 * s as usize + 2 * a + 4 * m) % 9];
                log += &format!("s{s},{name},2 m,field,field_strength,{value:.2},dB,{}\n", m + 1);
            }
        }
    }
    log
}

#[test]
fn a_season_without_readings_is_planned_by_typical_sizes_and_says_so() {
    let (_dir, season) = season(&format!("{THREE}[matters]\nfield_strength = 1.0\n"), HEADER);
    let plan = made(&season, &Request::default(), 200).unwrap();
    assert_eq!(plan.origin, [Origin::Guessed; 4]);
    assert!(plan.pairs.iter().all(|p| !p.measured && p.matters == Some(1.0)));
    let chances: Vec<f64> = plan.stages.iter().map(|s| s.chances[0].settled).collect();
    assert!(chances.first() < chances.last(), "{chances:?}");
    let text = plan_text::render(&plan).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains("typical sizes stand in"), "{text}");
    assert!(text.contains("session 1"), "{text}");
}

#[test]
fn without_what_matters_nothing_can_be_planned_for_an_antenna_never_measured() {
    let (_dir, season) = season(THREE, &small_log());
    let request = Request { new: Some("d".into()), ..Request::default() };
    let error = made(&season, &request, 50).unwrap_err();
    assert!(error.contains("which difference") && error.contains("hint:"), "{error}");
}

#[test]
fn more_sessions_promise_more_and_a_settled_pair_is_not_planned_for() {
    let (_dir, season) = season(&format!("{THREE}[matters]\nfield_strength = 0.5\n"), &small_log());
    let plan = made(&season, &Request::default(), 300).unwrap();
    let names: Vec<(&str, &str)> = plan.pairs.iter().map(|p| (p.first.as_str(), p.second.as_str())).collect();
    assert!(names.contains(&("a", "b")), "{names:?}");
    let a_b = names.iter().position(|n| *n == ("a", "b")).unwrap();
    let chances: Vec<f64> = plan.stages.iter().map(|s| s.chances[a_b].settled).collect();
    assert!(chances.last().unwrap() > &(chances[0] + 0.1), "{chances:?}");
    assert!(plan.alternatives.iter().any(|a| a.usual), "{:?}", plan.alternatives);
    let budget = plan.minutes.unwrap();
    assert!(plan.alternatives.iter().all(|a| a.minutes <= budget * 1.01));
}

#[test]
fn a_filled_in_record_sheet_is_read_without_a_finding() {
    let (_dir, season) = season(&format!("{THREE}[matters]\nfield_strength = 0.5\n"), &small_log());
    let request = Request { session: Some("s9".into()), ..Request::default() };
    let plan = made(&season, &request, 25).unwrap();
    let sheet = sheet::csv(&plan).unwrap();
    let filled: Vec<String> = sheet
        .lines()
        .enumerate()
        .map(|(i, line)| match i {
            0 => line.to_string(),
            // value is the sixth cell
            i => {
                let mut cells: Vec<&str> = line.split(',').collect();
                let value = format!("{:.2}", 1.5 + 0.01 * (i % 7) as f64);
                cells[5] = &value;
                cells.join(",")
            }
        })
        .collect();
    let dir = tempfile::tempdir().unwrap();
    fs::write(dir.path().join("season.toml"), THREE).unwrap();
    fs::write(dir.path().join("sheet.csv"), filled.join("\n") + "\n").unwrap();
    let read = Season::load(dir.path()).unwrap();
    assert_eq!(read.readings.findings, []);
    assert_eq!(read.readings.frame.height(), plan.sheet.len());
    assert!(plan.sheet.len() > 6 && plan.sheet.iter().all(|r| r.session == "s9"));
    let page = sheet::html(&plan).unwrap();
    assert!(page.contains("a keyed antenna burns") && page.contains("reference antenna, mounting 3"));
    assert_eq!(page.matches("<section").count(), plan.order.slots.len());
}

#[test]
fn the_same_seed_gives_the_same_plan_on_any_number_of_threads_and_another_seed_another_order() {
    let (_dir, season) = season(&format!("{THREE}[matters]\nfield_strength = 0.5\n"), &small_log());
    let on = |threads: usize, seed: u64| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        let options = Options { seed, ..options(50) };
        pool.install(|| plan_text::render(&plan(&season, &Request::default(), &options, &|| ()).unwrap()))
    };
    assert_eq!(on(1, 1), on(3, 1));
    assert_ne!(on(2, 1), on(2, 2));
}

#[test]
fn names_in_a_sheet_are_escaped() {
    let text = THREE.replace("name = \"b\"", "name = \"<b>&\"") + "[matters]\nfield_strength = 1.0\n";
    let (_dir, season) = season(&text, HEADER);
    let page = sheet::html(&made(&season, &Request::default(), 25).unwrap()).unwrap();
    assert!(page.contains("&lt;b&gt;&amp;") && !page.contains("<b>&"));
}

/// The intervals of the small log, with so many looks planned.
fn half_widths(looks: Option<usize>) -> (Vec<f64>, daylight::analysis::antennas::result::Antennas) {
    let (_dir, mut season) = season(THREE, &small_log());
    season.config.looks = looks;
    let answer = analyse(&season, &Choice::default(), &options(5000), &|| ()).unwrap();
    let halves = answer.sets[0].pairs.iter().filter_map(|p| p.range).map(|r| (r.high - r.low) / 2.0).collect();
    (halves, answer)
}

#[test]
fn planned_looks_widen_every_interval_and_the_last_one_least() {
    let (plain, _) = half_widths(None);
    let (early, answer) = half_widths(Some(12));
    assert!(early.iter().zip(&plain).all(|(a, b)| a > b), "{early:?} {plain:?}");
    let look = answer.look.unwrap();
    assert_eq!((look.number, look.planned), (3, 12));
    assert!(look.spent < look.of && !look.overrun() && (answer.confidence - (1.0 - look.level)).abs() < 1e-12);
    let (last, answer) = half_widths(Some(3));
    let look = answer.look.unwrap();
    assert!((look.spent - look.of).abs() < 1e-12);
    assert!(last.iter().zip(&early).all(|(a, b)| a < b), "{last:?} {early:?}");
    let (_, over) = half_widths(Some(2));
    assert!(over.look.unwrap().overrun() && over.look.unwrap().spent > over.look.unwrap().of);
}

#[test]
fn looks_are_a_whole_number_and_a_slip_in_the_key_is_told() {
    let parse = |text: &str| daylight::season::parse::parse(text, "season.toml");
    assert_eq!(parse("looks = 12\n").unwrap().looks, Some(12));
    for wrong in ["looks = 0", "looks = 2.5", "looks = 1000", "looks = \"often\""] {
        assert!(parse(wrong).unwrap_err().to_string().contains("whole number from 1 to 52"), "{wrong}");
    }
    assert!(parse("lookz = 12\n").unwrap_err().to_string().contains("did you mean `looks`?"));
    assert!(parse("[effort]\nsession_minuts = 3\n").unwrap_err().to_string().contains("session_minutes"));
    assert_eq!(parse("[effort]\ncheck_minutes = 5\n").unwrap().effort.check_minutes, 5.0);
}
