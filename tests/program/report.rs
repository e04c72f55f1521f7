//! The page of a season, as files: complete in themselves, whole or not there, the same again.
//!
//! How they look is asked in a browser: see tests/browser/.

use std::path::Path;
use std::process::Output;

fn daylight(folder: &Path, arguments: &[&str]) -> Output {
    let mut command = assert_cmd::Command::cargo_bin("daylight").unwrap();
    command.current_dir(folder).args(arguments).output().unwrap()
}

fn dataset(name: &str) -> String {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("datasets").join(name).display().to_string()
}

fn read(path: &Path) -> String {
    std::fs::read_to_string(path).unwrap()
}

#[test]
fn the_page_is_one_file_that_asks_for_nothing_and_is_the_same_again_on_any_number_of_threads() {
    let home = tempfile::tempdir().unwrap();
    let season = dataset("marked-meter");
    let out = daylight(home.path(), &["report", &season, "--plots", "p", "--markdown", "s.md", "--threads", "1"]);
    assert!(out.status.code() == Some(0) || out.status.code() == Some(1), "{out:?}");
    let said = String::from_utf8(out.stdout).unwrap();
    assert!(said.contains("The page is daylight-report.html."), "{said}");
    let page = read(&home.path().join("daylight-report.html"));
    for asks in ["http://", "https://", "src=", "@import", "url(", "<link"] {
        assert!(!page.contains(asks), "{asks}");
    }
    let svgs = std::fs::read_dir(home.path().join("p")).unwrap().map(|e| e.unwrap().path());
    let (svgs, pngs): (Vec<_>, Vec<_>) = svgs.partition(|p| p.extension().is_some_and(|e| e == "svg"));
    assert_eq!(svgs.len(), pngs.len());
    assert!(!svgs.is_empty());
    assert!(pngs.iter().all(|p| std::fs::read(p).unwrap().starts_with(b"\x89PNG\r\n\x1a\n")));
    assert!(svgs.iter().all(|p| read(p).trim_end().ends_with("</svg>")));

    daylight(home.path(), &["report", &season, "--html", "again.html", "--threads", "2"]);
    assert_eq!(read(&home.path().join("again.html")), page);
}

#[test]
fn a_reader_of_the_page_finds_its_files_by_hash_and_the_command_that_makes_it() {
    let home = tempfile::tempdir().unwrap();
    daylight(home.path(), &["report", &dataset("one-afternoon"), "--seed", "7"]);
    let page = read(&home.path().join("daylight-report.html"));
    // by `sha256sum datasets/one-afternoon/season.toml` (GNU coreutils)
    use sha2::Digest;
    let bytes = std::fs::read(Path::new(&dataset("one-afternoon")).join("season.toml")).unwrap();
    let hash: String = sha2::Sha256::digest(bytes).iter().map(|b| format!("{b:02x}")).collect();
    assert!(page.contains(&hash));
    assert!(page.contains("daylight report one-afternoon --seed 7"), "the command without this machine's folders");
    assert!(!page.contains(env!("CARGO_MANIFEST_DIR")), "no folder of this machine");
    assert!(page.contains("never") && page.contains("licence"), "cautions");
}

#[test]
fn names_that_are_tags_are_names_on_the_page_in_the_plots_and_in_the_summary() {
    let home = tempfile::tempdir().unwrap();
    let (one, two) = ("<script>alert(1)</script>", "x\"><img src=y onerror=z>");
    let mut rows = "session,antenna,band,meter,quantity,value\n".to_string();
    for (session, base) in [("a", 1.2), ("b", 1.25), ("c", 1.3)] {
        for (name, more) in [(one, 0.0), (two, 0.5)] {
            for reading in [0.0, 0.02] {
                let quoted = name.replace('"', "\"\"");
                rows += &format!("{session},\"{quoted}\",2 m,m,swr,{:.2}\n", base + more + reading);
            }
        }
    }
    std::fs::write(home.path().join("log.csv"), rows).unwrap();
    let out = daylight(home.path(), &["report", "log.csv", "--markdown", "s.md", "--plots", "p"]);
    assert_ne!(out.status.code(), Some(2), "{}", String::from_utf8_lossy(&out.stderr));
    let page = read(&home.path().join("daylight-report.html"));
    assert!(page.contains("&lt;script&gt;alert(1)"), "the name is shown");
    assert!(!page.contains("<script>alert") && !page.contains("<img"));
    let summary = read(&home.path().join("s.md"));
    assert!(!summary.contains("<script") && !summary.contains("<img"), "{summary}");
    for entry in std::fs::read_dir(home.path().join("p")).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|e| e == "svg") {
            let svg = read(&path);
            assert!(!svg.contains("<script") && !svg.contains("<img"), "{svg}");
        }
    }
}

#[test]
fn what_cannot_be_written_is_said_and_nothing_is_left_half_written() {
    let home = tempfile::tempdir().unwrap();
    let season = dataset("one-afternoon");
    let out = daylight(home.path(), &["report", &season, "--html", "none/page.html", "--markdown", "s.md"]);
    assert_eq!(out.status.code(), Some(2));
    let said = String::from_utf8(out.stderr).unwrap();
    assert!(said.contains("page.html: this can't be written: "), "{said}");
    assert!(said.contains("\nhint: make its folder first, or name another"), "{said}");
    assert_eq!(std::fs::read_dir(home.path()).unwrap().count(), 0, "not even the summary");

    std::fs::write(home.path().join("file"), "mine").unwrap();
    let out = daylight(home.path(), &["report", &season, "--plots", "file"]);
    assert_eq!(out.status.code(), Some(2));
    assert_eq!(read(&home.path().join("file")), "mine");
    assert_eq!(std::fs::read_dir(home.path()).unwrap().count(), 1);
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_said_as_such() {
    // /dev/full is a file that every write to fails as on a full disk; a folder on one can't be had without mounting,
    // so the words are asked of the error itself
    let full = std::fs::OpenOptions::new().write(true).open("/dev/full").unwrap();
    let error = std::io::Write::write_all(&mut &full, b"x").unwrap_err();
    assert_eq!(error.kind(), std::io::ErrorKind::StorageFull);
    let said = daylight::report::files::WriteError::new("page.html".into(), error).to_string();
    assert!(
        said.starts_with("page.html: this can't be written: ") && said.contains("\nhint: free some space"),
        "{said}"
    );
}

#[test]
fn the_page_never_takes_the_place_of_a_file_of_the_season() {
    let home = tempfile::tempdir().unwrap();
    let rows = "session,antenna,band,meter,quantity,value\na,x,2 m,m,swr,1.2\na,y,2 m,m,swr,1.4\n";
    std::fs::write(home.path().join("log.csv"), rows).unwrap();
    let out = daylight(home.path(), &["report", "log.csv", "--html", "log.csv"]);
    assert_eq!(out.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&out.stderr).contains("this is a file of the season"));
    assert_eq!(read(&home.path().join("log.csv")), rows);
}

#[test]
fn a_file_of_another_kind_is_never_replaced_and_an_earlier_page_is() {
    let home = tempfile::tempdir().unwrap();
    let rows = "session,antenna,band,meter,quantity,value\na,x,2 m,m,swr,1.2\na,y,2 m,m,swr,1.4\n";
    for file in ["log.csv", "other.csv", "notes.toml"] {
        std::fs::write(home.path().join(file), rows).unwrap();
    }
    for (target, words) in [
        (
            ["--html", "other.csv"],
            "other.csv: there is a file of this name, and it is no page of this program's\nhint: name another",
        ),
        (
            ["--markdown", "notes.toml"],
            "notes.toml: there is a file of this name, and it is no summary of this program's",
        ),
    ] {
        let out = daylight(home.path(), &[["report", "log.csv"], target].concat());
        assert_eq!(out.status.code(), Some(2), "{target:?}");
        assert!(String::from_utf8_lossy(&out.stderr).contains(words), "{out:?}");
        assert_eq!(read(&home.path().join(target[1])), rows);
    }
    assert_eq!(std::fs::read_dir(home.path()).unwrap().count(), 3, "nothing was written");
    for _ in 0..2 {
        let out = daylight(home.path(), &["report", "log.csv", "--markdown", "summary.md"]);
        assert_eq!(out.status.code(), Some(0), "{out:?}");
    }
}

#[test]
fn sweeps_are_drawn_in_the_page_and_as_files_and_told_in_the_summary() {
    let home = tempfile::tempdir().unwrap();
    let out = daylight(
        home.path(),
        &["report", &dataset("bench-sweeps"), "--trials", "500", "--plots", "p", "--markdown", "s.md"],
    );
    assert!(out.status.code() == Some(0) || out.status.code() == Some(1), "{out:?}");
    let page = read(&home.path().join("daylight-report.html"));
    assert!(page.contains("SWR against frequency about 2 m, as analyzer swept it"));
    let svg = read(&home.path().join("p").join("sweeps-2-m-analyzer.svg"));
    for words in ["heron", "plover", "curlew", "2:1", "frequency, MHz", "2 m, 145.5 MHz"] {
        assert!(svg.contains(words), "{words}");
    }
    assert!(home.path().join("p").join("sweeps-2-m-analyzer.png").exists());
    let summary = read(&home.path().join("s.md"));
    assert!(summary.contains("## Sweeps") && summary.contains("| heron | 6 |"), "{summary}");
}

#[test]
fn a_season_without_sweeps_speaks_of_none() {
    let home = tempfile::tempdir().unwrap();
    daylight(home.path(), &["report", &dataset("one-afternoon"), "--markdown", "s.md"]);
    assert!(!read(&home.path().join("daylight-report.html")).contains("SWR against frequency"));
    assert!(!read(&home.path().join("s.md")).contains("## Sweeps"));
}
