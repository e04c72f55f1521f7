//! Links, folders, pipes and devices in place of files, files that can't be read, and one that changes meanwhile.

use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use super::{Case, SOUND, season, sound_log, write};

fn sound(folder: &Path) {
    season(folder, SOUND.as_bytes(), sound_log().as_bytes());
}

pub fn cases() -> Vec<Case> {
    let mut cases = vec![
        Case::new("an empty folder", |_| {}),
        Case::new("no settings", |f| write(&f.join("log.csv"), sound_log().as_bytes())),
        Case::new("no log", |f| write(&f.join("season.toml"), b"")),
        Case::new("settings that are a folder", |f| {
            sound(f);
            std::fs::remove_file(f.join("season.toml")).expect("removed");
            std::fs::create_dir(f.join("season.toml")).expect("made");
        }),
        Case::new("a log that is a folder", |f| {
            write(&f.join("season.toml"), b"");
            std::fs::create_dir(f.join("log.csv")).expect("made");
        }),
        Case::new("sweeps that are a file", |f| {
            sound(f);
            write(&f.join("sweeps"), b"x");
        }),
        Case::new("a hundred folders in one another", |f| {
            sound(f);
            let deep = (0..100).fold(f.join("sweeps"), |p, _| p.join("d"));
            write(&deep.join("a.s1p"), b"x");
        }),
        Case::new("a hundred logs", |f| {
            write(&f.join("season.toml"), b"");
            for i in 0..100 {
                write(&f.join(format!("{i}.csv")), b"session,antenna,band,meter,quantity,value\ns,a,b,m,swr,1.5\n");
            }
        }),
        Case::new("settings of more than any", |f| {
            write(&f.join("log.csv"), sound_log().as_bytes());
            sparse(&f.join("season.toml"), 1 << 34);
        }),
        Case::new("a budget of more than any", |f| sparse(&f.join("budget.toml"), 1 << 34)),
        Case::new("a sweep of more than any", |f| {
            write(&f.join("season.toml"), b"sweep_pattern = '{session}-{antenna}.s1p'\n");
            std::fs::create_dir(f.join("sweeps")).expect("made");
            sparse(&f.join("sweeps/a-heron.s1p"), 1 << 34);
        }),
    ];
    #[cfg(unix)]
    cases.extend(unix());
    cases
}

/// A file that says it is so large, and holds nothing.
fn sparse(path: &Path, length: u64) {
    std::fs::File::create(path).and_then(|f| f.set_len(length)).expect("a sparse file");
}

#[cfg(unix)]
fn unix() -> Vec<Case> {
    use std::os::unix::fs::{PermissionsExt, symlink};
    let pipe =
        |path: &Path| assert!(std::process::Command::new("mkfifo").arg(path).status().expect("mkfifo").success());
    let mut cases = vec![
        Case::new("a log that is a pipe", move |f| {
            write(&f.join("season.toml"), b"");
            pipe(&f.join("log.csv"));
        }),
        Case::new("settings that are a pipe", move |f| {
            write(&f.join("log.csv"), sound_log().as_bytes());
            pipe(&f.join("season.toml"));
        }),
        Case::new("a budget that is a pipe", move |f| pipe(&f.join("budget.toml"))),
        Case::new("a sweep that is a pipe", move |f| {
            sound(f);
            std::fs::create_dir(f.join("sweeps")).expect("made");
            pipe(&f.join("sweeps/a.s1p"));
        }),
        Case::new("links that lead round", |f| {
            sound(f);
            std::fs::create_dir(f.join("sweeps")).expect("made");
            symlink(f, f.join("sweeps/round")).expect("link");
            symlink("loop.csv", f.join("loop.csv")).expect("link");
            symlink("a.s1p", f.join("sweeps/a.s1p")).expect("link");
        }),
        Case::new("links that lead nowhere", |f| {
            symlink("nowhere", f.join("season.toml")).expect("link");
            symlink("nowhere", f.join("log.csv")).expect("link");
            symlink("nowhere", f.join("budget.toml")).expect("link");
        }),
        Case::new("nothing may be read", |f| {
            sound(f);
            write(&f.join("budget.toml"), b"");
            write(&f.join("sweeps/a.s1p"), b"x");
            for name in ["season.toml", "log.csv", "budget.toml", "sweeps/a.s1p"] {
                std::fs::set_permissions(f.join(name), std::fs::Permissions::from_mode(0o000)).expect("set");
            }
            std::fs::set_permissions(f.join("sweeps"), std::fs::Permissions::from_mode(0o000)).expect("set");
        }),
        Case::new("names that are not UTF-8", |f| {
            use std::os::unix::ffi::OsStrExt;
            sound(f);
            write(&f.join(std::ffi::OsStr::from_bytes(b"\xff\xfe.csv")), sound_log().as_bytes());
            write(&f.join("sweeps").join(std::ffi::OsStr::from_bytes(b"\xff.s1p")), b"x");
        }),
    ];
    for device in ["/dev/zero", "/dev/null", "/dev/full", "/proc/self/mem"] {
        cases.push(Case::new(format!("everything a link to {device}"), move |f| {
            std::fs::create_dir(f.join("sweeps")).expect("made");
            for name in ["season.toml", "log.csv", "budget.toml", "sweeps/a.s1p"] {
                symlink(device, f.join(name)).expect("link");
            }
        }));
    }
    cases
}

/// A log that another program cuts and fills while it is read: an answer or an error, each time.
pub fn changing_log() {
    let home = tempfile::tempdir().expect("a folder");
    sound(home.path());
    let (log, text) = (home.path().join("log.csv"), sound_log().repeat(20));
    let stop = Arc::new(AtomicBool::new(false));
    let writer = std::thread::spawn({
        let stop = stop.clone();
        move || {
            let mut length = 0;
            while !stop.load(Ordering::Relaxed) {
                length = (length * 7 + 1013) % text.len();
                std::fs::write(&log, &text.as_bytes()[..length]).expect("written");
            }
        }
    });
    let mut answered = 0;
    for _ in 0..40 {
        let season = daylight::season::Season::load(home.path());
        let lost = |f: &daylight::season::readings::FileCount| f.rows != f.used + f.set_aside + f.left_out;
        assert!(season.as_ref().is_ok_and(|s| !s.readings.files.iter().any(lost)) || season.is_err());
        answered += 1;
    }
    stop.store(true, Ordering::Relaxed);
    writer.join().expect("the writer");
    println!("a changing log: {answered} times read, all answered");
}
