//! Spreadsheets and Parquet files that were sound once: cut off, and with a byte changed.

use std::path::Path;

use super::{Case, SOUND, season, sound_log, write};

pub fn cases() -> Vec<Case> {
    let forms = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/forms");
    let mut cases = vec![];
    for ending in ["xlsx", "ods", "parquet"] {
        let sound = std::fs::read(forms.join(format!("log.{ending}"))).expect("a form");
        let mut add = |name: String, bytes: Vec<u8>| {
            cases.push(Case::new(format!("{ending}, {name}"), move |folder| {
                season(folder, SOUND.as_bytes(), sound_log().as_bytes());
                write(&folder.join(format!("other.{ending}")), &bytes);
            }));
        };
        for tenths in [1, 5, 9] {
            add(format!("cut after {tenths} tenths"), sound[..sound.len() * tenths / 10].to_vec());
        }
        // at the head, in the middle, and where archives keep their table of contents
        for at in [4, sound.len() / 3, sound.len() / 2, sound.len() - 40, sound.len() - 10] {
            let mut bytes = sound.clone();
            bytes[at] ^= 0xff;
            add(format!("byte {at} turned over"), bytes);
        }
        add("twice".into(), [&sound[..], &sound[..]].concat());
    }
    cases
}
