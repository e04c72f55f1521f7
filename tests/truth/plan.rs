//! `plan` and the looks, from outside: on the demo seasons and on small ones made here.

use std::fs;

use daylight::analysis::antennas::set_analysis::Options;
use daylight::analysis::antennas::{Choice, analyse};
use daylight::analysis::plan::components::Origin;
use daylight::analysis::plan::promise::Design;
use daylight::analysis::plan::reference;
use daylight::analysis::plan::result::Plan;
use daylight::analysis::plan::{Request, plan};
use daylight::report::{plan_text, sheet};
use daylight::season::Season;
use daylight::stats::student_t::t_quantile;
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
    let chances: Vec<f64> = plan.stages.iter().map(|s| s.chances[0].settled.chance).collect();
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
    let chances: Vec<f64> = plan.stages.iter().map(|s| s.chances[a_b].settled.chance).collect();
    assert!(chances.last().unwrap() > &(chances[0] + 0.1), "{chances:?}");
    assert!(plan.alternatives.iter().any(|a| a.usual), "{:?}", plan.alternatives);
    let budget = plan.minutes.unwrap();
    assert!(plan.alternatives.iter().all(|a| a.minutes <= budget * 1.01));
}

#[test]
fn a_chance_carries_the_error_of_its_finite_number_of_simulations() {
    let (_dir, season) = season(&format!("{THREE}[matters]\nfield_strength = 0.5\n"), &small_log());
    let halves = |trials: usize| -> Vec<f64> {
        let plan = made(&season, &Request::default(), trials).unwrap();
        for c in plan.stages.iter().flat_map(|s| &s.chances) {
            let (p, n) = (c.settled.chance, trials as f64);
            // the plain binomial error, and no less than what none or all of so few says
            assert!(
                c.settled.half_width >= 1.8 * (p * (1.0 - p) / n).sqrt() && c.settled.half_width > 1.5 / n,
                "{c:?}"
            );
        }
        let text = plan_text::render(&plan);
        let stage = plan.stages.iter().find(|s| (0.3..0.7).contains(&s.chances[0].settled.chance)).unwrap();
        let c = stage.chances[0].settled;
        let cell = format!("{:.0} ± {:.0} %", c.chance * 100.0, (c.half_width * 100.0).ceil());
        assert!(text.contains(&cell), "{cell}: {text}");
        let json = daylight::report::plan_json::render(&plan).unwrap();
        assert!(json.contains("\"half_width\""), "{json}");
        plan.stages.iter().map(|s| s.chances[0].settled.half_width).collect()
    };
    let (few, many) = (halves(50), halves(800));
    assert!(few[0] > 2.0 * many[0], "{few:?} {many:?}");
}

/// What is promised, put in order, billed and laid on the sheet is one and the same session.
#[test]
fn promise_order_bill_and_sheet_agree_on_every_antennas_mountings() {
    for mountings in 1..=6 {
        let mut log = HEADER.to_string();
        for s in 0..3 {
            for (a, name) in ["a", "b", "c"].iter().enumerate() {
                for m in 0..mountings {
                    let value = f64::from(s) + 0.1 * ((5 * s + 3 * a as i32 + 7 * m) % 9) as f64;
                    log += &format!("s{s},{name},2 m,field,field_strength,{value:.2},dB,{}\n", m + 1);
                }
            }
        }
        let effort = "[effort]\nsession_minutes = 100\nmounting_minutes = 1\nreading_minutes = 1\n";
        let (_dir, season) = season(&format!("{THREE}[matters]\nfield_strength = 0.3\n{effort}"), &log);
        let request = Request { antennas: ["a", "b", "c"].map(String::from).to_vec(), ..Request::default() };
        let options = Options { confidence: 0.999, ..options(25) };
        let plan = plan(&season, &request, &options, &|| ()).unwrap();
        let on = |what: &str| plan.order.slots.iter().filter(|s| s.what == what).count();
        let design = &plan.alternatives.first().map_or(&plan.stages[0].design, |a| &a.design);
        let wanted = reference::mountings(design.mountings);
        assert_eq!((on("a"), on("b"), on("c")), (wanted, design.mountings, design.mountings));
        // the bill of one session: a minute for each mounting, and one for each of its readings
        let bill =
            |design: &Design, minutes: f64| (minutes / design.sessions as f64 - 100.0) / (1 + design.readings) as f64;
        for (design, minutes) in plan.stages.iter().map(|s| (&s.design, s.minutes)) {
            let each = bill(design, minutes);
            assert!((each - (2 * design.mountings + reference::mountings(design.mountings)) as f64).abs() < 1e-9);
        }
        if let Some(way) = plan.alternatives.first() {
            let each = bill(&way.design, way.minutes);
            assert!((each - (on("a") + on("b") + on("c")) as f64).abs() < 1e-9, "{each}");
        }
        // the sheet holds every mounting of the order, and no other
        let mut of_sheet: Vec<(String, usize)> =
            plan.sheet.iter().filter(|r| r.antenna != "fifty").map(|r| (r.antenna.clone(), r.mounting)).collect();
        of_sheet.sort();
        of_sheet.dedup();
        assert_eq!(of_sheet.len(), on("a") + on("b") + on("c"));
    }
}

#[test]
fn an_antenna_named_twice_is_one() {
    let (_dir, season) = season(&format!("{THREE}[matters]\nfield_strength = 0.5\n"), &small_log());
    let named =
        |names: &[&str]| Request { antennas: names.iter().map(|n| n.to_string()).collect(), ..Request::default() };
    let error = made(&season, &named(&["a", "a"]), 25).unwrap_err();
    assert!(error.contains("one antenna alone makes no pair"), "{error}");
    let (twice, once) = (made(&season, &named(&["a", "b", "a"]), 25), made(&season, &named(&["a", "b"]), 25));
    assert_eq!(plan_text::render(&twice.unwrap()), plan_text::render(&once.unwrap()));
}

#[test]
fn the_level_of_the_look_a_plan_comes_to_is_printed_and_not_the_seasons_confidence() {
    let (_dir, season) = season(&format!("looks = 12\n{THREE}[matters]\nfield_strength = 0.5\n"), &small_log());
    let plan = made(&season, &Request::default(), 25).unwrap();
    // three sessions so far, one more: the fourth look of twelve, 7/144 of 5 %
    assert!((plan.stages[0].level - 0.05 * 7.0 / 144.0).abs() < 1e-12);
    let text = plan_text::render(&plan).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains("0.24 % after 1 more session") && !text.contains("at 95 % confidence,"), "{text}");
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

/// The first look at pairs of forty may spend 3/1600 of 5 %: more replays would be needed than are made. Its intervals are then
/// no narrower than each pair's own t at its share of that (Bonferroni), and the chance of a false verdict within it.
#[test]
fn the_first_of_many_looks_is_held_to_its_level_though_no_number_of_replays_shows_it() {
    // after two sessions
    let log: String = small_log().lines().filter(|l| !l.starts_with("s2")).map(|l| l.to_string() + "\n").collect();
    let (_dir, mut season) = season(THREE, &log);
    season.config.looks = Some(40);
    for trials in [1000, 100_000] {
        let answer = analyse(&season, &Choice::default(), &options(trials), &|| ()).unwrap();
        let level = answer.look.unwrap().level;
        assert!((level - 0.05 * 3.0 / 1600.0).abs() < 1e-12);
        for pair in &answer.sets[0].pairs {
            let (range, error, df) = (pair.range.unwrap(), pair.standard_error.unwrap(), pair.df.unwrap());
            let bound = t_quantile(1.0 - level / 6.0, df) * error;
            assert!((range.high - range.low) / 2.0 >= bound * (1.0 - 1e-9), "{pair:?} {bound}");
            assert!(pair.p_adjusted.unwrap() >= level || range.low > 0.0 || range.high < 0.0, "{pair:?}");
        }
    }
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
