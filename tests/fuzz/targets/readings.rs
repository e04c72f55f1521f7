//! Any bytes as the one CSV file of a season: every row used, set aside with a finding, or left out, and none lost.
#![no_main]

use std::path::PathBuf;
use std::sync::OnceLock;

use daylight::season::Season;
use libfuzzer_sys::fuzz_target;

/// A season that gives every rule of the reader something to hold a row against.
const SEASON: &str = r#"
repeats = "remounted"
reference = "heron"
[[band]]
name = "2 m"
frequency_mhz = 145.5
[[meter]]
name = "analyzer"
[[antenna]]
name = "heron"
[[antenna]]
name = "plover"
[[load]]
name = "fifty"
resistance_ohm = 50.0
[[quantity]]
name = "noise"
unit = "dB"
scale = "as read"
[[leave_out]]
antenna = "plover"
mounting = 2
reason = "loose"
"#;

fn folder() -> &'static PathBuf {
    static FOLDER: OnceLock<PathBuf> = OnceLock::new();
    FOLDER.get_or_init(|| {
        let folder = std::env::temp_dir().join(format!("daylight-fuzz-{}", std::process::id()));
        std::fs::create_dir_all(&folder).expect("a folder for the season");
        std::fs::write(folder.join("season.toml"), SEASON).expect("the season");
        folder
    })
}

fuzz_target!(|bytes: &[u8]| {
    std::fs::write(folder().join("log.csv"), bytes).expect("the log");
    match Season::load(folder()) {
        Ok(season) => {
            let used: usize = season.readings.files.iter().map(|f| f.used).sum();
            assert_eq!(used, season.readings.frame.height());
            assert!(season.readings.files.iter().all(|f| f.rows == f.used + f.set_aside + f.left_out), "a row was lost");
        }
        Err(error) => assert!(!error.problems().is_empty()),
    }
});
