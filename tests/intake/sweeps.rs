//! Sweeps of a season, from the folder to readings: whose they are, what they give, what is said of those that can't be
//! used.

use std::path::Path;

use daylight::season::Season;
use daylight::season::finding::Severity;
use tempfile::TempDir;

const BANDS: &str = "[[band]]\nname = '2 m'\nfrequency_mhz = 145.5\n[[band]]\nname = '70 cm'\nfrequency_mhz = 446.0\n";
const NAMES: &str =
    "[[meter]]\nname = 'analyzer'\nkind = 'analyzer'\n[[antenna]]\nname = 'heron'\n[[antenna]]\nname = 'sea plover'\n";

/// A season's folder with those sweeps and no other readings.
fn folder(top: &str, entries: &str, sweeps: &[(&str, &str)]) -> TempDir {
    let home = tempfile::tempdir().unwrap();
    std::fs::write(home.path().join("season.toml"), format!("{top}{BANDS}{NAMES}{entries}")).unwrap();
    for (name, text) in sweeps {
        let path = home.path().join("sweeps").join(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, text).unwrap();
    }
    home
}

fn load(folder: &Path) -> Season {
    Season::load(folder).unwrap_or_else(|e| panic!("{e}"))
}

/// Each reading as text: antenna, session, mounting, band, quantity, and the value to a thousandth.
fn readings(season: &Season) -> Vec<String> {
    let frame = &season.readings.frame;
    let text = |name: &str, i: usize| frame.column(name).unwrap().str().unwrap().get(i).unwrap().to_string();
    let row = |i| {
        let mounting = frame.column("mounting").unwrap().i64().unwrap().get(i).map_or("-".into(), |m| m.to_string());
        let value = frame.column("value").unwrap().f64().unwrap().get(i).unwrap();
        format!(
            "{} {} {mounting} {} {} {value:.3}",
            text("antenna", i),
            text("session", i),
            text("band", i),
            text("quantity", i)
        )
    };
    (0..frame.height()).map(row).collect()
}

fn told(season: &Season) -> String {
    let one =
        |f: &daylight::season::finding::Finding| format!("{:?} {}: {}; {}", f.severity, f.place, f.what, f.action);
    season.readings.findings.iter().map(one).collect::<Vec<_>>().join("\n")
}

/// Γ = 1/3 at 145.5 MHz (interpolated), so SWR 2, 100 Ω, 9.542 dB; all by the definitions.
const THIRD: &str = "# MHz S RI R 50\n145 0.333333333334 0.1\n146 0.333333333334 -0.1\n";

#[test]
fn a_sweep_gives_five_readings_at_the_band_s_frequency_in_the_complex_plane() {
    let entry = "[[sweep]]\nfile = 'a.s1p'\nsession = 2026-05-02\nantenna = 'heron'\nmounting = 3\n";
    let home = folder("", entry, &[("a.s1p", THIRD)]);
    let season = load(home.path());
    let at = "heron 2026-05-02 3 2 m";
    let wanted = ["swr 2.000", "return_loss 9.542", "impedance 100.000", "resistance 100.000", "reactance 0.000"];
    // the least reflection lies between the two points, so its frequency is known, and SWR stays at 2
    let rows = readings(&season);
    assert_eq!(rows[..5], wanted.map(|w| format!("{at} {w}")));
    let file = season.readings.frame.column("file").unwrap().str().unwrap().get(0).map(String::from);
    assert_eq!(file.as_deref(), Some("sweeps/a.s1p"));
    assert_eq!(season.readings.frame.column("line").unwrap().u32().unwrap().get(0), Some(2));
    assert_eq!((season.sweeps.len(), season.sweeps[0].trace.points.len()), (1, 2));
    assert_eq!(season.sweeps[0].meter, "analyzer");
}

/// Γ along a line of slope through the origin of the complex plane: |Γ| = |f − 146|/10, so SWR is 1 at 146 MHz and 2
/// at 146 ± 10/3 MHz.
#[test]
fn the_lowest_swr_and_the_bandwidth_under_two_are_readings_too() {
    let mut text = "# MHz S RI R 50\n".to_string();
    for mhz in 140..=152 {
        text += &format!("{mhz} {:.6} {:.6}\n", 0.06 * f64::from(mhz - 146), 0.08 * f64::from(mhz - 146));
    }
    let entry = "[[sweep]]\nfile = 'a.s1p'\nsession = 's'\nantenna = 'heron'\n";
    let home = folder("", entry, &[("a.s1p", &text)]);
    let rows = readings(&load(home.path()));
    assert!(rows.contains(&"heron s - 2 m lowest_swr_frequency 146.000".to_string()), "{rows:?}");
    assert!(rows.contains(&"heron s - 2 m bandwidth 6.667".to_string()), "{rows:?}");
    assert!(rows.contains(&"heron s - 2 m swr 1.105".to_string()), "{rows:?}");
    assert!(rows.iter().all(|r| !r.contains("70 cm")), "nothing beyond the sweep: {rows:?}");
}

#[test]
fn a_pattern_says_whose_a_file_is_by_names_the_season_knows() {
    let home = folder(
        "sweep_pattern = '{session}-{antenna}-{mounting}.s1p'\n",
        "",
        &[("2026-05-02-heron-1.s1p", THIRD), ("2026-05-02-SEA_plover-2.S1P", THIRD), ("notes.txt", "mine")],
    );
    let season = load(home.path());
    let rows = readings(&season);
    assert_eq!(rows.iter().filter(|r| r.starts_with("heron 2026-05-02 1 2 m")).count(), 6, "{rows:?}");
    assert_eq!(rows.iter().filter(|r| r.starts_with("sea plover 2026-05-02 2 2 m")).count(), 6, "{rows:?}");
    assert!(season.readings.findings.iter().all(|f| f.severity == Severity::Note), "{}", told(&season));
}

#[test]
fn a_sweep_that_can_t_be_used_is_a_finding_and_stops_no_other() {
    let bad = "# MHz S RI R 50\n145 0.1 0\n144 0.1 0\n";
    let home = folder(
        "sweep_pattern = '{session}-{antenna}.s1p'\n",
        "[[sweep]]\nfile = 'gone.s1p'\nsession = 'a'\nantenna = 'heron'\n",
        &[
            ("a-heron.s1p", THIRD),
            ("b-heron.s1p", bad),
            ("c-heron.s1p", "# MHz S MA R 50\n144 1.2 0\n148 1.2 5\n"),
            ("d-heron.s2p", "x"),
            ("heron.s1p", THIRD),
            ("e-heron.s1p", "# GHz S RI R 50\n144 0 0\n148 0 0\n"),
            ("f-heron.s1p", "# MHz S RI R 50\n7 0.1 0\n8 0.1 0\n"),
            ("g-heron.s1p", "# MHz S RI R 50\n145.6 0.1 0\n148 0.1 0\n"),
            ("h-heron.s1p", ""),
        ],
    );
    let season = load(home.path());
    let said = told(&season);
    for wanted in [
        "Error season.toml:15: `sweeps/gone.s1p` is not there",
        "Error sweeps/b-heron.s1p:3: the frequency 144 is below",
        "Error sweeps/c-heron.s1p:3: |Γ| is 1.200 here",
        "Error sweeps/d-heron.s2p: a file of 2 ports",
        "Error sweeps/heron.s1p: no `[[sweep]]` entry names this file, and its name does not fit",
        "Error sweeps/e-heron.s1p:2: the sweep runs from 144000 to 148000 MHz",
        "Warning sweeps/f-heron.s1p: the sweep runs from 7 to 8 MHz and holds no band",
        "Warning sweeps/g-heron.s1p: the sweep runs from 145.6 to 148 MHz and does not hold 145.5 MHz",
        "Error sweeps/h-heron.s1p:1: there is no data",
    ] {
        assert!(said.contains(wanted), "{wanted}\n--\n{said}");
    }
    assert_eq!(readings(&season).len(), 6);
}

#[test]
fn sweeps_stand_beside_the_log_and_can_be_left_out_on_the_record() {
    let home = folder(
        "sweep_pattern = '{session}-{antenna}.s1p'\n",
        "[[leave_out]]\nsession = 'b'\nquantity = 'swr'\nreason = 'loose'\n",
        &[("a-heron.s1p", THIRD), ("b-heron.s1p", THIRD)],
    );
    let log = "session,antenna,band,meter,quantity,value\na,heron,2 m,analyzer,swr,1.9\n";
    std::fs::write(home.path().join("log.csv"), log).unwrap();
    let season = load(home.path());
    assert_eq!(season.readings.frame.height(), 1 + 6 + 5);
    assert_eq!(season.readings.left_out_frame.height(), 1);
    assert_eq!(season.readings.left_out[0].rows, 1);
    let counts = season.readings.files.iter().map(|f| (f.rows, f.used, f.set_aside, f.left_out)).collect::<Vec<_>>();
    assert_eq!(counts, [(1, 1, 0, 0), (7, 6, 1, 0), (7, 5, 1, 1)]);
    assert!(!told(&season).contains("matches no row"), "{}", told(&season));
}

#[test]
fn without_a_single_analyzer_a_sweep_needs_its_meter_said() {
    let two =
        "[[meter]]\nname = 'second'\nkind = 'analyzer'\n[[sweep]]\nfile = 'a.s1p'\nsession = 's'\nantenna = 'heron'\n";
    let home = folder("", two, &[("a.s1p", THIRD)]);
    let error = Season::load(home.path()).unwrap_err().to_string();
    assert!(error.contains("no readings"), "{error}");
    let home =
        folder("", &two.replace("antenna = 'heron'", "antenna = 'heron'\nmeter = 'second'"), &[("a.s1p", THIRD)]);
    assert_eq!(load(home.path()).sweeps[0].meter, "second");
}

#[cfg(unix)]
#[test]
fn a_folder_that_leads_round_and_a_pipe_named_as_a_sweep_hang_nothing() {
    let home = folder("sweep_pattern = '{session}-{antenna}.s1p'\n", "", &[("a-heron.s1p", THIRD)]);
    let sweeps = home.path().join("sweeps");
    std::os::unix::fs::symlink(&sweeps, sweeps.join("round")).unwrap();
    std::fs::create_dir(sweeps.join("b-heron.s1p")).unwrap();
    let made = std::process::Command::new("mkfifo").arg(sweeps.join("c-heron.s1p")).status().unwrap();
    assert!(made.success());
    let season = load(home.path());
    assert!(told(&season).contains("Error sweeps/c-heron.s1p:1: this is not a file"), "{}", told(&season));
    assert_eq!(readings(&season).len(), 6);
}
