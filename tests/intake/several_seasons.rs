//! Several seasons' folders taken as one: names matched, clashes said, nothing lost or counted twice.

use std::path::{Path, PathBuf};

use daylight::season::Season;
use tempfile::TempDir;

const HEADER: &str = "session,antenna,band,meter,quantity,value,mounting\n";

/// A folder of two seasons, `spring` and `autumn`.
fn two(spring: (&str, &str), autumn: (&str, &str)) -> TempDir {
    let home = tempfile::tempdir().unwrap();
    for (name, (config, rows)) in [("spring", spring), ("autumn", autumn)] {
        let folder = home.path().join(name);
        std::fs::create_dir(&folder).unwrap();
        std::fs::write(folder.join("season.toml"), config).unwrap();
        std::fs::write(folder.join("log.csv"), format!("{HEADER}{rows}")).unwrap();
    }
    home
}

fn paths(home: &TempDir) -> [PathBuf; 2] {
    ["spring", "autumn"].map(|name| home.path().join(name))
}

fn pooled(home: &TempDir) -> Season {
    Season::load_all(&paths(home)).unwrap_or_else(|e| panic!("{e}"))
}

fn refused(home: &TempDir) -> String {
    let said = Season::load_all(&paths(home)).unwrap_err().to_string();
    said.replace(&home.path().display().to_string(), "")
}

fn column(season: &Season, name: &str) -> Vec<String> {
    season.readings.frame.column(name).unwrap().str().unwrap().iter().map(|s| s.unwrap().to_string()).collect()
}

fn findings(season: &Season, home: &Path) -> String {
    let one = |f: &daylight::season::finding::Finding| format!("{:?} {}: {}", f.severity, f.place, f.what);
    let all = season.readings.findings.iter().map(one).collect::<Vec<_>>().join("\n");
    all.replace(&home.display().to_string(), "")
}

#[test]
fn a_session_that_two_seasons_have_is_two_sessions_and_others_keep_their_names() {
    let row = "1,heron,2 m,analyzer,swr,1.5,1\n2,heron,2 m,analyzer,swr,1.6,1\n";
    let home = two(("", row), ("", "1,heron,2 m,analyzer,swr,1.7,1\n"));
    let season = pooled(&home);
    assert_eq!(column(&season, "session"), ["1 (spring)", "2", "1 (autumn)"]);
    assert!(column(&season, "file")[2].ends_with("autumn/log.csv"));
    assert_eq!(season.readings.files.iter().map(|f| f.used).collect::<Vec<_>>(), [2, 1]);
}

#[test]
fn what_two_seasons_declare_of_one_name_has_to_hold_in_both() {
    let band = |mhz: f64| format!("[[band]]\nname = '2 m'\nfrequency_mhz = {mhz}\n");
    let home =
        two((&band(145.5), "1,heron,2 m,analyzer,swr,1.5,1\n"), (&band(146.0), "2,heron,2 m,analyzer,swr,1.5,1\n"));
    assert_eq!(
        refused(&home),
        "/autumn/season.toml:1: band `2 m` is at 146 MHz here and at 145.5 MHz there (/spring/season.toml:1)\n\
         hint: readings at two frequencies are no repeats; name the bands apart"
    );
    for (a, b) in [
        ("[[load]]\nname = 'x'\nresistance_ohm = 50\n", "[[load]]\nname = 'x'\nresistance_ohm = 100\n"),
        ("[[load]]\nname = 'x'\nresistance_ohm = 50\n", "[[antenna]]\nname = 'x'\n"),
        ("[[antenna]]\nname = 'x'\n", "[[load]]\nname = 'x'\nresistance_ohm = 50\n"),
        ("[[meter]]\nname = 'x'\nkind = 'field'\n", "[[meter]]\nname = 'x'\nkind = 'analyzer'\n"),
        (
            "[[band]]\nname='2 m'\n[[meter]]\nname = 'x'\nline_loss_db = { '2 m' = 0.2 }\n",
            "[[band]]\nname='2 m'\n[[meter]]\nname = 'x'\nline_loss_db = { '2 m' = 0.3 }\n",
        ),
        (
            "[[quantity]]\nname='x'\nunit='dB'\nscale='as read'\n",
            "[[quantity]]\nname='x'\nunit='dB'\nscale='as read'\nbetter='lower'\n",
        ),
        (
            "[[band]]\nname='2 m'\n[[antenna]]\nname = 'x'\ngain_dbi = { '2 m' = { value = 2, standard = 0.5 } }\n",
            "[[band]]\nname='2 m'\n[[antenna]]\nname = 'x'\ngain_dbi = { '2 m' = { value = 1, standard = 0.5 } }\n",
        ),
    ] {
        let row = "1,heron,2 m,analyzer,swr,1.5,1\n";
        let said = refused(&two((a, row), (b, row)));
        assert!(said.contains("/autumn/season.toml") && said.contains("/spring/season.toml"), "{said}");
        assert!(said.contains("hint:"), "{said}");
    }
}

#[test]
fn where_the_cautious_one_can_hold_it_does_with_a_finding_that_names_both_files() {
    let config = |resolution: f64, directivity: f64, confidence: f64, matters: f64, reference: &str| {
        format!(
            "confidence = {confidence}\nreference = '{reference}'\n[[antenna]]\nname = 'heron'\n[[antenna]]\nname = 'plover'\n\
             [[meter]]\nname = 'analyzer'\nresolution = {{ swr = {resolution} }}\ndirectivity_db = {directivity}\n\
             [matters]\nswr = {matters}\n"
        )
    };
    let row = "1,heron,2 m,analyzer,swr,1.5,1\n";
    let home = two((&config(0.01, 35.0, 0.95, 0.3, "heron"), row), (&config(0.1, 30.0, 0.99, 0.2, "plover"), row));
    let season = pooled(&home);
    let meter = season.config.meter("analyzer").unwrap();
    assert_eq!((meter.resolution["swr"], meter.directivity_db), (0.1, Some(30.0)));
    assert_eq!((season.config.confidence, season.config.matters["swr"]), (0.99, 0.2));
    assert_eq!(season.config.reference.as_deref(), Some("heron"));
    let said = findings(&season, home.path());
    for wanted in [
        "shows `swr` to 0.1 here",
        "directivity of 30 dB here",
        "confidence is 0.99",
        "what matters of `swr`",
        "reference antenna",
    ] {
        assert!(said.contains(wanted), "{wanted}\n{said}");
    }
    let of_both = |f: &&daylight::season::finding::Finding| f.rule == "several seasons";
    for finding in season.readings.findings.iter().filter(of_both) {
        assert!(finding.place.file.ends_with("autumn/season.toml"), "{finding:?}");
        assert!(finding.others[0].file.ends_with("spring/season.toml"), "{finding:?}");
    }
}

#[test]
fn rows_without_a_mounting_keep_what_their_own_season_means_by_them() {
    let rows =
        |session: &str| format!("{session},heron,2 m,analyzer,swr,1.5,\n{session},heron,2 m,analyzer,swr,1.6,\n");
    let home = two(("repeats = 'left on'\n", &rows("a")), ("repeats = 'remounted'\n", &rows("b")));
    let season = pooled(&home);
    let (sets, _) = daylight::analysis::antennas::sets::sets_of(&season.readings.frame, &season.config).unwrap();
    let mut readings: Vec<f64> = sets[0].mountings.iter().map(|m| m.readings).collect();
    readings.sort_by(f64::total_cmp);
    assert_eq!(readings, [1.0, 1.0, 2.0], "one mounting of two readings, two of one");
}

#[test]
fn names_that_differ_in_spelling_alone_are_said_to_be_two() {
    let home = two(
        ("[[antenna]]\nname = 'plover'\n", "1,plover,2 m,analyzer,swr,1.5,1\n"),
        ("[[antenna]]\nname = 'Plover'\n", "2,Plover,2 m,analyzer,swr,1.5,1\n"),
    );
    assert!(findings(&pooled(&home), home.path()).contains("antenna `Plover` here and `plover` there differ only"));
}

#[test]
fn a_folder_given_twice_and_a_file_among_folders_are_refused() {
    let row = "1,heron,2 m,analyzer,swr,1.5,1\n";
    let home = two(("", row), ("", row));
    let [spring, _] = paths(&home);
    let again = spring.join(".");
    assert!(Season::load_all(&[spring.clone(), again]).unwrap_err().to_string().contains("given twice"));
    let file = spring.join("log.csv");
    assert!(Season::load_all(&[spring, file]).unwrap_err().to_string().contains("one file of readings"));
}

#[test]
fn a_finding_about_settings_names_the_file_its_line_is_in() {
    let source =
        "[[source]]\nname = 'x'\nquantity = 'swr'\nshape = 'rectangular'\nhalf_width = 0.1\nshared_by = 'session'\n";
    let home = two(
        ("", "1,heron,2 m,analyzer,swr,1.5,1\n"),
        (&format!("# one\n# two\n{source}"), "2,heron,2 m,analyzer,swr,1.5,1\n"),
    );
    let season = pooled(&home);
    let place = season.place_in_settings(Some(season.config.sources[0].line));
    assert!(place.file.ends_with("autumn/season.toml"), "{place}");
    assert_eq!(place.line, Some(3));
}

/// The demonstration season split in two folders and pooled again gives the verdicts of the whole.
#[test]
fn a_season_split_in_two_and_pooled_is_the_season() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("datasets/lowland-search");
    let home = tempfile::tempdir().unwrap();
    for (folder, files) in [("a", vec!["spring.csv"]), ("b", vec!["summer.csv", "autumn.csv"])] {
        std::fs::create_dir(home.path().join(folder)).unwrap();
        for file in files.into_iter().chain(["season.toml"]) {
            std::fs::copy(root.join(file), home.path().join(folder).join(file)).unwrap();
        }
    }
    let whole = Season::load(&root).unwrap();
    let both = Season::load_all(&[home.path().join("a"), home.path().join("b")]).unwrap();
    let sets = |season: &Season| {
        daylight::analysis::antennas::sets::sets_of(&season.readings.frame, &season.config).unwrap().0
    };
    let (whole, both) = (sets(&whole), sets(&both));
    assert_eq!(whole.len(), both.len());
    for (a, b) in whole.iter().zip(&both) {
        assert_eq!((&a.antennas, &a.sessions), (&b.antennas, &b.sessions));
        let total =
            |s: &daylight::analysis::antennas::sets::Set| s.mountings.iter().map(|m| m.mean * m.readings).sum::<f64>();
        assert!((total(a) - total(b)).abs() < 1e-9);
    }
}
