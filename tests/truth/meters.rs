//! `meters` against seasons whose truth is known, and against logs that leave little to say.

use std::path::{Path, PathBuf};

use daylight::analysis::antennas::result::{Antennas, Verdict};
use daylight::analysis::antennas::set_analysis;
use daylight::analysis::antennas::{self, Choice};
use daylight::analysis::meters::correction::{Against, corrected};
use daylight::analysis::meters::pairing::Pairing;
use daylight::analysis::meters::result::{Meters, Scope};
use daylight::analysis::meters::why::Account;
use daylight::analysis::meters::{Options, analyse};
use daylight::report::{meters_json, meters_text};
use daylight::season::Season;
use daylight::season::finding::Severity;

const OPTIONS: Options = Options { confidence: 0.95, seed: 1, shuffles: 1999 };

fn answer(path: &Path) -> Meters {
    analyse(&Season::load(path).unwrap(), &Choice::default(), &OPTIONS).unwrap()
}

/// A season of these files.
fn season(toml: &str, rows: &str) -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    std::fs::write(dir.path().join("season.toml"), toml).unwrap();
    let log = format!("session,antenna,band,meter,quantity,value,mounting\n{rows}");
    std::fs::write(dir.path().join("log.csv"), log).unwrap();
    dir
}

/// The answer in words, line breaks and indents taken out.
fn text_of(m: &Meters) -> String {
    one_line(&meters_text::render(m))
}

fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn lowland() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("datasets/lowland-search")
}

/// A rough noise that needs no generator: the fractional parts of multiples of the golden ratio.
fn noise(i: usize) -> f64 {
    (i as f64 * 0.618_033_988_75).fract() - 0.5
}

fn swr(reflection: f64) -> f64 {
    (1.0 + reflection) / (1.0 - reflection)
}

/// Rows of two meters on five antennas; `second` gives the second meter's |Γ| from antenna, session and truth.
fn rows(sessions: usize, second: impl Fn(usize, usize, f64) -> f64) -> String {
    let mut out = String::new();
    let mut i = 0;
    for s in 0..sessions {
        for (a, name) in ["heron", "plover", "avocet", "lapwing", "godwit"].iter().enumerate() {
            for m in 1..=2 {
                i += 1;
                let truth = 0.12 + 0.08 * a as f64 + 0.01 * noise(i);
                let first = truth + 0.004 * noise(7 * i + 3) + 0.006 * noise(11 * s + a);
                let other = second(a, s, truth) + 0.004 * noise(13 * i + 5);
                let day = format!("2026-{:02}-{:02}", 3 + s / 4, 1 + 7 * (s % 4));
                out += &format!("{day},{name},2 m,one,swr,{:.3},{m}\n", swr(first));
                out += &format!("{day},{name},2 m,two,swr,{:.3},{m}\n", swr(other));
            }
        }
    }
    out
}

/// A shift of the second meter halfway, in a season whose sessions are called by their dates in another form.
#[test]
fn sessions_stand_in_order_of_time_whatever_form_their_dates_have() {
    let shifted = rows(16, |_, session, truth| truth + if session < 8 { 0.0 } else { 0.05 });
    type Form = fn(&str, &str, &str) -> String;
    let in_form = |form: Form| {
        let with = |line: &str| {
            let (day, rest) = line.split_once(',').unwrap();
            let parts: Vec<&str> = day.split('-').collect();
            format!("{},{rest}\n", form(parts[0], parts[1], parts[2]))
        };
        shifted.lines().map(with).collect::<String>()
    };
    let iso = answer(season("", &shifted).path());
    let p = iso.pairs[0].shifts[0].found.p;
    assert!(iso.dated && p < 0.05);
    let forms: [Form; 3] =
        [|y, m, d| format!("{d}.{m}.{y}"), |y, m, d| format!("{d}/{m}/{y}"), |y, m, d| format!("{m}/{d}/{y}")];
    for form in forms {
        let other = answer(season("", &in_form(form)).path());
        assert!(other.dated, "{}", in_form(form));
        assert_eq!(other.pairs[0].shifts[0].found.p, p);
    }
    // no dates at all: the log's order, and drift by the session
    let numbered = in_form(|_, m, d| format!("run {m}{d}"));
    let told = answer(season("", &numbered).path());
    assert!(!told.dated && told.pairs[0].shifts[0].found.p == p);
    let words = text_of(&told);
    assert!(words.contains("Drift a session") && words.contains("they stand in the log's order"), "{words}");
}

#[test]
fn dates_of_which_day_and_month_cannot_be_told_apart_are_a_finding() {
    let dir = season("", "02/05/2026,heron,2 m,one,swr,1.3,1\n09/05/2026,heron,2 m,one,swr,1.3,1\n");
    let readings = Season::load(dir.path()).unwrap().readings;
    let odd: Vec<&str> = readings.findings.iter().map(|f| f.what.as_str()).collect();
    assert_eq!(odd, ["session `02/05/2026` can be two dates, and so can all others: day or month first?"]);
}

#[test]
fn too_few_shuffles_to_show_a_shift_are_made_more() {
    let dir = season("", &rows(16, |_, session, truth| truth + if session < 8 { 0.0 } else { 0.05 }));
    let options = Options { shuffles: 10, ..OPTIONS };
    let few = analyse(&Season::load(dir.path()).unwrap(), &Choice::default(), &options).unwrap();
    assert!(few.shuffles == 399 && few.pairs[0].shifts[0].found.p < 0.05);
}

/// `datasets/lowland-search/README.md`: the analyzer reads 0.03 too high from 2026-06-13 on.
#[test]
fn the_demo_season_s_shift_is_found_with_its_date_its_size_and_whose_it_was() {
    let m = answer(&lowland());
    assert_eq!(m.pairs.len(), 1);
    let pair = &m.pairs[0];
    assert_eq!((pair.first.as_str(), pair.second.as_str()), ("inline", "analyzer"));
    assert_eq!(pair.shifts.len(), 1);
    let shift = &pair.shifts[0];
    assert_eq!((shift.found.last_before.as_str(), shift.found.first_after.as_str()), ("2026-05-30", "2026-06-13"));
    assert!(shift.after.as_str() <= "2026-05-30" && shift.by.as_str() >= "2026-06-13");
    assert_eq!(shift.sizes.len(), 3);
    for size in &shift.sizes {
        assert!(size.interval.holds(0.03) && !size.interval.holds(0.0), "{size:?}");
    }
    assert_eq!(shift.mover.as_deref(), Some("analyzer"));
}

#[test]
fn the_demo_season_s_line_loss_and_directivity_are_recovered() {
    let m = answer(&lowland());
    // with the declared loss undone the two meters agreed before the shift, and differ by 0.03 after it
    for band in &m.pairs[0].bands {
        assert!(band.stretches[0].at_antenna.interval.holds(0.0), "{:?}", band.stretches[0]);
        assert!(band.stretches[1].at_antenna.interval.holds(0.03), "{:?}", band.stretches[1]);
        // |Γ| in-line is 10^(−2L/20) of that at the antenna
        let loss = if band.band == "2 m" { 0.2 } else { 0.4 };
        let slope = 10f64.powf(2.0 * loss / 20.0);
        let relations = &band.lines.as_ref().unwrap().relations;
        assert_eq!(relations.len(), 3);
        for r in relations {
            assert!(r.proportional_interval.holds(slope), "{} {r:?}", band.band);
        }
    }
    // the in-line meter's false wave, 25 dB, from the matched load: six readings of it
    let directivity = |meter: &str, before: &str| {
        let loads = m.own_errors.iter().filter(|o| o.meter == meter).flat_map(|o| &o.loads);
        let all: Vec<f64> =
            loads.filter(|l| l.sessions[0].as_str() < before).filter_map(|l| l.directivity_db).collect();
        let wave = all.iter().map(|d| 10f64.powf(-d / 20.0)).sum::<f64>() / all.len() as f64;
        -20.0 * wave.log10()
    };
    let holds = |meter: &str, before: &str, truth: f64| {
        let loads = m.own_errors.iter().filter(|o| o.meter == meter).flat_map(|o| &o.loads);
        let ranges: Vec<(f64, Option<f64>)> =
            loads.filter(|l| l.sessions[0].as_str() < before).filter_map(|l| l.directivity_range_db).collect();
        assert!(!ranges.is_empty());
        for (low, high) in ranges {
            assert!(low <= truth && high.is_none_or(|high| truth <= high), "{meter}: {low} to {high:?}");
        }
    };
    holds("inline", "2027", 25.0);
    holds("analyzer", "2026-05", 35.0);
    assert!((directivity("inline", "2027") - 25.0).abs() < 1.5, "{}", directivity("inline", "2027"));
    assert!((directivity("analyzer", "2026-05") - 35.0).abs() < 6.0, "{}", directivity("analyzer", "2026-05"));
    // by the other load: right in April, 0.03 high in September, on every band
    for own in m.own_errors.iter().filter(|o| o.meter == "analyzer" && o.quantity == "swr") {
        for l in own.loads.iter().filter(|l| l.load == "hundred") {
            let truth = if l.stretch == 0 { 0.0 } else { 0.03 };
            assert!(l.error.interval.holds(truth), "{l:?}");
        }
    }
}

#[test]
fn a_steady_season_shows_no_shift_and_the_offset_it_was_made_with() {
    let dir = season("reference = 'heron'\n", &rows(10, |_, _, truth| truth + 0.03));
    let m = answer(dir.path());
    let (pair, band) = (&m.pairs[0], &m.pairs[0].bands[0]);
    assert!(pair.shifts.is_empty() && pair.search.is_some());
    let offset = band.offset.unwrap();
    assert!(offset.estimate.interval.holds(0.03) && !offset.estimate.interval.holds(0.0), "{offset:?}");
    assert_eq!(
        (band.pairing, offset.scope, band.antennas, band.sessions),
        (Pairing::Mounting, Scope::AntennasAndDays, 5, 10)
    );
    let limits = band.limits.unwrap();
    assert!(limits.low < 0.03 && limits.high > 0.03 && limits.low_interval.holds(limits.low));
    assert_eq!(band.why.as_ref().unwrap().account, Account::NothingDeclared);
}

#[test]
fn declared_line_loss_that_is_there_explains_the_offset_and_one_that_is_not_does_not() {
    let loss = 10f64.powf(-0.1); // 1 dB each way
    let log = rows(8, |_, _, truth| truth * loss);
    let explained = season("[[meter]]\nname = 'one'\n[[meter]]\nname = 'two'\nline_loss_db = { '2 m' = 1.0 }\n", &log);
    let why = answer(explained.path()).pairs[0].bands[0].why.clone().unwrap();
    assert_eq!(why.account, Account::Explained);
    assert!((why.share - 1.0).abs() < 0.15, "{}", why.share);
    let wrong = season("[[meter]]\nname = 'one'\nline_loss_db = { '2 m' = 1.0 }\n[[meter]]\nname = 'two'\n", &log);
    assert_eq!(answer(wrong.path()).pairs[0].bands[0].why.as_ref().unwrap().account, Account::NotExplained);
}

#[test]
fn meters_that_share_no_mounting_are_paired_on_the_visit() {
    let log: String = rows(6, |_, _, truth| truth + 0.03)
        .lines()
        .map(|l| if l.contains(",two,") { l.replace(",1\n", ",3\n") + "0\n" } else { l.to_string() + "\n" })
        .collect();
    let m = answer(season("", &log).path());
    let band = &m.pairs[0].bands[0];
    assert_eq!((band.pairing, band.units, band.visits), (Pairing::Visit, 30, 30));
    assert!(band.offset.unwrap().estimate.interval.holds(0.03));
    assert!(text_of(&m).contains("30 visits"));
}

#[test]
fn meters_that_never_meet_are_compared_over_antennas_with_their_days_in_full_or_not_at_all() {
    // one meter in even sessions, the other in odd ones
    let apart: String = rows(8, |_, _, truth| truth + 0.05)
        .lines()
        .filter(|l| {
            let day: usize = l[8..10].parse().unwrap();
            l.contains(",one,") == (day / 7).is_multiple_of(2)
        })
        .map(|l| l.to_string() + "\n")
        .collect();
    let m = answer(season("", &apart).path());
    let band = &m.pairs[0].bands[0];
    assert_eq!((band.pairing, band.units), (Pairing::Unpaired, 0));
    let offset = band.offset.unwrap();
    assert_eq!(offset.scope, Scope::Unpaired);
    assert!(offset.estimate.interval.holds(0.05), "{offset:?}");
    let text = text_of(&m);
    assert!(text.contains("never read one visit together"), "{text}");
    // one antenna, one day each: nothing shows how days scatter
    let m = answer(season("", "d,a,2 m,one,swr,1.5,1\ne,a,2 m,two,swr,1.6,1\n").path());
    assert_eq!(m.pairs[0].bands[0].offset, None);
    assert!(text_of(&m).contains("they can't be compared"));
    // no antenna in common
    let m = answer(season("", "d,a,2 m,one,swr,1.5,1\nd,b,2 m,two,swr,1.6,1\n").path());
    assert_eq!(m.pairs[0].bands[0].pairing, Pairing::Nothing);
    assert!(text_of(&m).contains("no antenna in common"));
}

#[test]
fn a_single_common_visit_says_what_that_visit_showed_and_no_more() {
    let rows = "d,a,2 m,one,swr,1.50,1\nd,a,2 m,two,swr,1.60,1\nd,a,2 m,one,swr,1.52,2\nd,a,2 m,two,swr,1.61,2\n\
                d,a,2 m,one,swr,1.49,3\nd,a,2 m,two,swr,1.60,3\ne,b,2 m,one,swr,1.3,1\nf,c,2 m,two,swr,1.9,1\n";
    let m = answer(season("", rows).path());
    let band = &m.pairs[0].bands[0];
    assert_eq!((band.units, band.visits), (3, 1));
    let offset = band.offset.unwrap();
    assert_eq!(offset.scope, Scope::OneVisit);
    assert!((offset.shown - 0.1).abs() < 0.01 && offset.estimate.interval.low > 0.0, "{offset:?}");
    assert!(band.lines.is_none() && band.limits.is_none() && m.pairs[0].search.is_none());
    let text = text_of(&m);
    assert!(text.contains("One visit only") && text.contains("five are needed"), "{text}");
}

#[test]
fn a_meter_that_shows_1_00_on_everything_is_named_and_nothing_is_computed_with_it() {
    let stuck: String = rows(6, |_, _, t| t)
        .lines()
        .map(|l| {
            let mut cells: Vec<&str> = l.split(',').collect();
            if cells[3] == "two" {
                cells[5] = "1.00";
            }
            cells.join(",") + "\n"
        })
        .collect();
    let dir = season("[[meter]]\nname = 'one'\n[[meter]]\nname = 'two'\ncorrect = true\n", &stuck);
    let m = answer(dir.path());
    let band = &m.pairs[0].bands[0];
    assert_eq!(band.stuck.len(), 1);
    assert_eq!((band.stuck[0].meter.as_str(), band.stuck[0].value), ("two", 1.0));
    assert!(band.offset.is_none() && band.lines.is_none() && m.pairs[0].shifts.is_empty());
    let text = text_of(&m);
    assert!(text.contains("two shows 1.00 SWR on everything") && text.contains("the one not to believe"), "{text}");
    // and it cannot be corrected: an error that says so
    assert!(m.corrections.is_empty());
    assert!(m.findings.iter().any(|f| f.severity == Severity::Error && f.what.contains("nothing shows its offset")));
}

#[test]
fn two_shifts_cut_the_season_in_three() {
    let steps = |s: usize| [0.0, 0.05, 0.01][s / 8];
    let m = answer(season("reference = 'heron'\n", &rows(24, |_, s, truth| truth + steps(s))).path());
    let pair = &m.pairs[0];
    assert_eq!(pair.shifts.len(), 2, "{:?}", pair.search);
    let values: Vec<f64> = pair.bands[0].stretches.iter().map(|s| s.offset.estimate.value).collect();
    assert_eq!(values.len(), 3);
    for (value, truth) in values.iter().zip([0.0, 0.05, 0.01]) {
        assert!((value - truth).abs() < 0.005, "{values:?}");
    }
    assert_eq!(pair.shifts[0].mover.as_deref(), Some("two"));
}

#[test]
fn the_same_seed_gives_the_same_answer_and_json_holds_no_surprise() {
    let path = lowland();
    let json = |seed| {
        let m = analyse(&Season::load(&path).unwrap(), &Choice::default(), &Options { seed, shuffles: 499, ..OPTIONS });
        meters_json::render(&m.unwrap()).unwrap()
    };
    assert_eq!(json(3), json(3));
    let value: serde_json::Value = serde_json::from_str(&json(3)).unwrap();
    assert_eq!(value["format"], "daylight/meters/1");
    assert_eq!(value["pairs"][0]["bands"][0]["band"], "2 m");
    assert!(value["pairs"][0]["shifts"][0]["found"]["p"].as_f64().unwrap() < 0.05);
}

fn antennas_of(path: &Path) -> Antennas {
    let options = set_analysis::Options { confidence: 0.95, seed: 1, trials: Some(500) };
    antennas::analyse(&Season::load(path).unwrap(), &Choice::default(), &options, &|| ()).unwrap()
}

#[test]
fn a_corrected_meter_reads_what_the_other_reads_and_its_uncertainty_comes_along() {
    let log = rows(8, |_, _, truth| truth + 0.05);
    let toml = |mark: &str| format!("[[meter]]\nname = 'one'\n[[meter]]\nname = 'two'\n{mark}");
    let (plain, marked) = (season(&toml(""), &log), season(&toml("correct = true\n"), &log));
    let c = corrected(&Season::load(marked.path()).unwrap()).unwrap();
    assert_eq!(c.corrections.len(), 1);
    assert_eq!(c.corrections[0].against, Against::Meters(vec!["one".into()]));
    assert!((c.corrections[0].steps[0].offset - 0.05).abs() < 0.005 && c.findings.is_empty());
    let (before, after) = (antennas_of(plain.path()), antennas_of(marked.path()));
    let of = |a: &Antennas, meter: &str| a.sets.iter().find(|s| s.meter == meter).unwrap().clone();
    let (one, two, uncorrected) = (of(&after, "one"), of(&after, "two"), of(&before, "two"));
    assert!(one.corrected.is_none() && two.corrected.is_some());
    for (a, b) in one.antennas.iter().zip(&two.antennas) {
        assert!((a.estimate - b.estimate).abs() < 0.006, "{} {}", a.estimate, b.estimate);
    }
    // an antenna's own result is less well known than before; a difference is as well known as before
    let own = |s: &daylight::analysis::antennas::result::SetResult| s.antennas[0].standard_uncertainty.unwrap();
    assert!(own(&two) > own(&uncorrected));
    for (p, q) in two.pairs.iter().zip(&uncorrected.pairs) {
        assert!((p.difference - q.difference).abs() < 1e-9);
        assert!((p.standard_error.unwrap() / q.standard_error.unwrap() - 1.0).abs() < 1e-6);
        assert_eq!(p.verdict, Verdict::Apart);
    }
    let text = one_line(&daylight::report::antennas_text::render(&after));
    assert!(
        text.contains("Corrected: the readings of two") && text.contains("Corrected: two's offset from one"),
        "{text}"
    );
}

#[test]
fn a_meter_with_a_shift_is_corrected_on_each_side_of_it() {
    let log = rows(12, |_, s, truth| truth + if s < 6 { 0.0 } else { 0.05 });
    let dir = season("[[meter]]\nname = 'one'\n[[meter]]\nname = 'two'\ncorrect = true\n", &log);
    let c = corrected(&Season::load(dir.path()).unwrap()).unwrap();
    let steps = &c.corrections[0].steps;
    assert_eq!(steps.len(), 2);
    assert!(steps[0].offset.abs() < 0.005 && (steps[1].offset - 0.05).abs() < 0.005, "{steps:?}");
    assert!(steps.iter().all(|s| s.own_uncertainty > 0.0 && s.own_uncertainty <= s.standard_uncertainty));
    let two = antennas_of(dir.path()).sets.iter().find(|s| s.meter == "two").unwrap().clone();
    // what is left between sessions is the meters' own days, no longer the shift
    assert!(two.components[0].sd.unwrap() < 0.01, "{:?}", two.components[0]);
}

/// The demo season's analyzer, marked: check loads come first, and the step comes out on every band.
#[test]
fn the_demo_season_s_analyzer_is_corrected_by_its_check_loads() {
    let dir = tempfile::tempdir().unwrap();
    for file in ["season.toml", "spring.csv", "summer.csv", "autumn.csv"] {
        let text = std::fs::read_to_string(lowland().join(file)).unwrap();
        let text = text.replace("kind = \"analyzer\" ", "correct = true\nkind = \"analyzer\" ");
        std::fs::write(dir.path().join(file), text).unwrap();
    }
    let c = corrected(&Season::load(dir.path()).unwrap()).unwrap();
    let swr: Vec<_> = c.corrections.iter().filter(|c| c.quantity == "swr").collect();
    assert_eq!(swr.len(), 3);
    for correction in swr {
        assert_eq!(correction.against, Against::Loads(vec!["hundred".into()]));
        assert_eq!(correction.steps.len(), 2);
        for (step, truth) in correction.steps.iter().zip([0.0, 0.03]) {
            assert!((step.offset - truth).abs() < 2.5 * step.standard_uncertainty, "{step:?}");
        }
        assert_eq!(correction.steps[1].from, "2026-06-13");
    }
    // |Z| has no other meter, and no load was read for it
    assert!(c.findings.iter().any(|f| f.severity == Severity::Note && f.what.contains("impedance")));
}

#[test]
fn meters_and_audit_give_the_same_bytes_on_any_number_of_threads() {
    let season = Season::load(&lowland()).unwrap();
    let on = |threads| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| {
            let meters = analyse(&season, &Choice::default(), &OPTIONS).unwrap();
            let audit = daylight::analysis::audit::audit(&season).unwrap();
            (meters_json::render(&meters).unwrap(), daylight::report::audit_json::render(&audit).unwrap())
        })
    };
    assert_eq!(on(1), on(2));
}
