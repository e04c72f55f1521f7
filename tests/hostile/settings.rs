//! `season.toml` of any shape and size.

use super::{Case, season, sound_log};

fn texts() -> Vec<(&'static str, Vec<u8>)> {
    let deep = 100_000;
    let text = |t: String| t.into_bytes();
    let template = daylight::season::template::SEASON;
    let with_examples: String = template
        .lines()
        .map(|l| format!("{}\n", l.strip_prefix('#').filter(|r| !r.starts_with(' ')).unwrap_or(l)))
        .collect();
    vec![
        ("nothing", vec![]),
        ("NUL bytes", vec![0; 1000]),
        ("not UTF-8", b"title = \"\xff\xfe\"\n".to_vec()),
        ("deep lists", text(format!("title = {}{}", "[".repeat(deep), "]".repeat(deep)))),
        ("deep lists never closed", text(format!("title = {}", "[".repeat(deep)))),
        ("deep tables", text(format!("a = {}1{}", "{a=".repeat(deep), "}".repeat(deep)))),
        ("a deep dotted key", text(format!("{}x = 1", "a.".repeat(deep)))),
        ("a deep header", text(format!("[{}x]", "a.".repeat(deep)))),
        ("a key of a megabyte", text(format!("{} = 1", "k".repeat(1 << 20)))),
        ("a title of a megabyte", text(format!("title = '{}'", "t".repeat(1 << 20)))),
        ("five thousand bands", text((0..5000).map(|i| format!("[[band]]\nname = '{i}'\n")).collect())),
        ("five thousand wrong keys", text((0..5000).map(|i| format!("wrong{i} = 1\n")).collect())),
        ("five thousand broken lines", text("= [ ' \n".repeat(5000))),
        ("one key many times", text("title = 'a'\n".repeat(5000))),
        ("a hundred antennas of one name", text("[[antenna]]\nname = 'heron'\n".repeat(100))),
        ("absurd numbers", text("confidence = 1e999\n[[band]]\nname = '2 m'\nfrequency_mhz = 1e308\nchannel = 9223372036854775807\n[[load]]\nname='x'\nresistance_ohm=1e-308\n[matters]\nswr = 1e-300\n".into())),
        ("numbers beyond any", text("confidence = 99999999999999999999999\n".into())),
        ("numbers that are none", text("confidence = nan\n[[band]]\nname = '2 m'\nfrequency_mhz = inf\n".into())),
        ("a meter of absurd sizes", text("[[band]]\nname='2 m'\n[[meter]]\nname='inline'\nkind='in-line'\nresolution={swr=1e300}\ndirectivity_db=1e-300\nline_loss_db={'2 m'=1e300}\ncorrect=true\n".into())),
        ("a meter with no directivity left", text("[[meter]]\nname='analyzer'\ndirectivity_db=1e300\ncorrect=true\n[[meter]]\nname='inline'\ncorrect=true\n".into())),
        ("a source of absurd size", text("[[source]]\nname='x'\nquantity='swr'\nshape='normal'\nstandard=1e300\nshared_by='session'\n".into())),
        ("a source of no size", text("[[source]]\nname='x'\nquantity='swr'\nshape='vector'\nhalf_width=1e-300\nshared_by='antenna'\n".into())),
        ("every antenna a load", text("[[load]]\nname='heron'\nresistance_ohm=50\n[[load]]\nname='plover'\nresistance_ohm=1e9\n".into())),
        ("everything left out", text("[[leave_out]]\nquantity='swr'\nreason='x'\n".into())),
        ("claims past any limit", text("[[band]]\nname='2 m'\n[[antenna]]\nname='heron'\nprice=1e-300\nclaims=[{quantity='swr',at_most=1e300},{quantity='gain_dbi',at_least=-1e300},{quantity='swr',at_least=1.0,at_most=1.0}]\n[[antenna]]\nname='plover'\nprice=1e300\n".into())),
        ("weights of absurd size", text("[weights]\nswr=1e300\n".into())),
        ("weights of nothing", text("[weights]\nswr=0\n".into())),
        ("a reference nobody measured", text("reference='nobody'\n".into())),
        ("the widest confidence", text("confidence=0.999\nrepeats='remounted'\n".into())),
        ("the template, examples and all", text(with_examples)),
        ("a pattern of braces", text(format!("sweep_pattern = '{}'\n", "{".repeat(10_000)))),
        ("a pattern of holes", text("sweep_pattern = '{any}-{any}-{any}-{any}-{session}-{antenna}-{any}-{any}'\n".into())),
        ("a sweep out of the folder", text("[[sweep]]\nfile='../../../etc/passwd'\nsession='a'\nantenna='b'\n".into())),
        ("five hundred sweeps that are not there", text((0..500).map(|i| format!("[[sweep]]\nfile='{i}'\nsession='a'\nantenna='b'\n")).collect())),
        ("a byte-order mark and old line ends", text("\u{feff}title = 'a'\r\n[[band]]\r\nname = '2 m'\r\n".into())),
        ("line ends of one kind of machine only", text("title = 'a'\r[[band]]\rname = '2 m'\r".into())),
    ]
}

pub fn cases() -> Vec<Case> {
    texts()
        .into_iter()
        .map(|(name, text)| Case::new(name, move |folder| season(folder, &text, sound_log().as_bytes())))
        .collect()
}
