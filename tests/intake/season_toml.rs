//! `season.toml` from outside: what it is read as, and what its errors say, word for word.

use daylight::radio::quantity::{Better, Scale};
use daylight::season::config::{Config, Known, MeterKind, Repeats, Scope, Shape, Weight};
use daylight::season::error::Kind;
use daylight::season::parse::{parse, read};

fn season(text: &str) -> Config {
    parse(text, "season.toml").unwrap_or_else(|error| panic!("{error}"))
}

fn error(text: &str) -> String {
    parse(text, "season.toml").expect_err(text).to_string()
}

/// Kinds of all problems, in order.
fn kinds(text: &str) -> Vec<Kind> {
    parse(text, "season.toml").expect_err(text).problems().iter().map(|p| p.kind()).collect()
}

#[test]
fn an_empty_file_is_a_season_of_defaults() {
    assert_eq!(season(""), Config::default());
    assert_eq!(season("\u{feff}# only a byte-order mark and a comment\r\n"), Config::default());
}

#[test]
fn every_part_of_a_season_is_read() {
    let config = season(
        r#"
title = "Marsh, 2026"
reference = "heron"
confidence = 0.9
repeats = "remounted"
[[band]]
name = "2 m"
frequency_mhz = 145.5
[[band]]
name = "channels"
channel = 0
[[meter]]
name = "inline"
kind = "in-line"
resolution = { swr = 0.01, forward_power = 1 }
directivity_db = 20
line_loss_db = 0.2
correct = true
[[antenna]]
name = "heron"
price = 21.50
length_mm = 390
gain_dbi = { "2 m" = { value = -2.0, standard = 0.5 } }
[[antenna]]
name = "Böe 天線"
claims = [ { quantity = "swr", at_most = 1.5, bands = ["2 m"] },
           { quantity = "gain_dbi", at_least = 2.15 } ]
[[load]]
name = "hundred"
resistance_ohm = 100
tolerance_percent = 1
[[quantity]]
name = "noise"
unit = "uV"
scale = "dB of amplitude"
better = "lower"
[[source]]
name = "distance"
quantity = "noise"
meter = "inline"
band = "2 m"
standard = 0.5
unit = "dB"
shared_by = "mounting"
[matters]
swr = 0.3
[weights]
swr = { "channels" = 0, "2 m" = 1.5 }
noise = 2
[[leave_out]]
session = 2026-05-02
mounting = 2
reason = "coupler found loose"
"#,
    );
    assert_eq!((config.title.as_str(), config.reference.as_deref()), ("Marsh, 2026", Some("heron")));
    assert_eq!((config.confidence, config.repeats), (0.9, Repeats::Remounted));
    assert_eq!(
        (config.bands[0].line, config.bands[0].frequency_mhz, config.bands[1].channel),
        (6, Some(145.5), Some(0))
    );
    let meter = config.meter("inline").unwrap();
    assert_eq!((meter.kind, meter.directivity_db, meter.correct), (Some(MeterKind::InLine), Some(20.0), true));
    assert_eq!((meter.line_loss_db["2 m"], meter.line_loss_db["channels"]), (0.2, 0.2));
    assert_eq!(meter.resolution["forward_power"], 1.0);
    assert_eq!(config.antennas[0].gain_dbi["2 m"], Known { value: -2.0, standard: 0.5 });
    let claims = &config.antennas[1].claims;
    assert_eq!(
        (claims[0].at_most, claims[0].bands.as_slice(), claims[0].line),
        (Some(1.5), &["2 m".to_string()][..], 26)
    );
    assert_eq!((claims[1].quantity.as_str(), claims[1].at_least, claims[1].line), ("gain_dbi", Some(2.15), 27));
    assert_eq!((config.loads[0].resistance_ohm, config.loads[0].tolerance_percent), (100.0, Some(1.0)));
    let noise = config.quantity("noise").unwrap();
    assert_eq!((noise.scale, noise.better, noise.unit.as_str()), (Scale::AmplitudeDecibel, Better::Lower, "uV"));
    let source = &config.sources[0];
    assert_eq!((source.shape, source.shared_by), (Shape::Normal { standard: 0.5 }, Scope::Mounting));
    assert_eq!(config.matters["swr"], 0.3);
    let weight = |quantity: &str, band: Option<&str>, weight| Weight {
        quantity: quantity.into(),
        band: band.map(Into::into),
        weight,
    };
    let expected = [weight("swr", Some("channels"), 0.0), weight("swr", Some("2 m"), 1.5), weight("noise", None, 2.0)];
    assert_eq!(config.weights, expected);
    assert_eq!((config.leave_out[0].session.as_deref(), config.leave_out[0].mounting), (Some("2026-05-02"), Some(2)));
}

#[test]
fn a_source_s_shape_follows_from_what_is_given() {
    let shape = |lines: &str| {
        let text = format!("[[source]]\nname = \"x\"\nquantity = \"swr\"\nshared_by = \"antenna\"\n{lines}");
        season(&text).sources[0].shape
    };
    assert_eq!(shape("half_width = 0.2"), Shape::Rectangular { half_width: 0.2 });
    assert_eq!(shape("standard = 0.2"), Shape::Normal { standard: 0.2 });
    assert_eq!(shape("shape = 'vector'\nhalf_width = 0.1"), Shape::Vector { half_width: 0.1 });
    assert_eq!(shape("shape = 'arcsine'\nstandard = 0.5"), Shape::Arcsine { half_width: 0.5 * 2f64.sqrt() });
    assert_eq!(
        shape("shape = 'trapezoidal'\nhalf_width = 3\ntop = 1"),
        Shape::Trapezoidal { half_width: 3.0, top: 1.0 }
    );
}

#[test]
fn an_unknown_key_names_the_nearest_known_one() {
    assert_eq!(
        error("[[band]]\nname = \"2 m\"\n  frequencymhz = 145.5\n"),
        "season.toml:3:3: unknown key `frequencymhz` in [[band]]\n  \
           |\n\
         3 |   frequencymhz = 145.5\n  \
           |   ^^^^^^^^^^^^\n\
         hint: did you mean `frequency_mhz`?"
    );
}

#[test]
fn an_unknown_key_near_no_other_is_told_the_known_ones() {
    assert_eq!(
        error("[[band]]\nname = \"2 m\"\nwatts = 5\n"),
        "season.toml:3:1: unknown key `watts` in [[band]], wanted `name`, `frequency_mhz` or `channel`\n  \
           |\n\
         3 | watts = 5\n  \
           | ^^^^^"
    );
}

#[test]
fn a_key_of_the_top_under_a_header_is_told_where_it_belongs() {
    assert_eq!(
        error("[[antenna]]\nname = \"heron\"\nconfidence = 0.9\n"),
        "season.toml:3:1: unknown key `confidence` in [[antenna]]\n  \
           |\n\
         3 | confidence = 0.9\n  \
           | ^^^^^^^^^^\n\
         hint: `confidence` belongs at the top of the file, above the first line in brackets"
    );
}

#[test]
fn a_value_of_the_wrong_type_says_what_was_found_and_wanted() {
    assert_eq!(
        error("confidence = \"0.95\"\n"),
        "season.toml:1:14: `confidence` is the text \"0.95\", wanted a number above 0.5 and at most 0.999\n  \
           |\n\
         1 | confidence = \"0.95\"\n  \
           |              ^^^^^^\n\
         hint: write it without quotes"
    );
    assert_eq!(
        error("[[antenna]]\nname = 12\n"),
        "season.toml:2:8: `name` is 12, wanted a text in quotes\n  \
           |\n\
         2 | name = 12\n  \
           |        ^^\n\
         hint: write it in quotes: `\"12\"`"
    );
}

#[test]
fn a_number_out_of_range_says_the_range() {
    assert_eq!(
        error("confidence = 95\n"),
        "season.toml:1:14: `confidence` is 95, wanted a number above 0.5 and at most 0.999\n  \
           |\n\
         1 | confidence = 95\n  \
           |              ^^"
    );
    for wrong in [
        "confidence = 0.5",
        "confidence = 1.0",
        "[[antenna]]\nname = 'a'\nprice = 0",
        "[[antenna]]\nname = 'a'\nprice = inf",
        "[[antenna]]\nname = 'a'\nprice = 1e999",
        "[[antenna]]\nname = 'a'\nlength_mm = -nan",
        "[[antenna]]\nname = 'a'\ngain_dbi = { u = { value = 1, standard = 0 } }",
        "[[band]]\nname = 'u'\nfrequency_mhz = 0",
        "[[band]]\nname = 'u'\nchannel = -1",
        "[[load]]\nname = 'a'\nresistance_ohm = -50",
        "[[load]]\nname = 'a'\nresistance_ohm = 50\ntolerance_percent = 100",
        "[[meter]]\nname = 'm'\nresolution = { swr = 0 }",
        "[[meter]]\nname = 'm'\nline_loss_db = { u = -0.1 }",
        "[matters]\nswr = 0",
        "[weights]\nswr = -1",
        "[[leave_out]]\nmounting = 0\nreason = 'x'",
        "[[leave_out]]\nband = 'u'\nreason = ''",
        "[[source]]\nname = 's'\nquantity = 'swr'\nshared_by = 'visit'\nhalf_width = 0",
        "[[source]]\nname = 's'\nquantity = 'swr'\nshared_by = 'visit'\nshape = 'trapezoidal'\nhalf_width = 1\ntop = 1.1",
    ] {
        assert_eq!(kinds(wrong), [Kind::OutOfRange], "{wrong}");
    }
}

#[test]
fn a_missing_key_shows_how_it_is_written() {
    assert_eq!(
        error("[[load]]\nname = \"hundred\"\n"),
        "season.toml:1:1: [[load]] has no `resistance_ohm`\n  \
           |\n\
         1 | [[load]]\n  \
           | ^^^^^^^^\n\
         hint: for example `resistance_ohm = 100.0`"
    );
}

#[test]
fn a_word_that_is_none_of_the_allowed_names_the_nearest() {
    assert_eq!(
        error("[[meter]]\nname = \"m\"\nkind = \"inline\"\n"),
        "season.toml:3:8: `kind` is the text \"inline\", wanted `in-line`, `analyzer`, `field` or `listener`\n  \
           |\n\
         3 | kind = \"inline\"\n  \
           |        ^^^^^^^^\n\
         hint: did you mean `in-line`?"
    );
}

#[test]
fn a_name_given_twice_says_where_the_first_stands() {
    assert_eq!(
        error("[[antenna]]\nname = \"heron\"\n[[load]]\nname = \"heron\"\nresistance_ohm = 50\n"),
        "season.toml:4:8: `heron` is already the name of an antenna\n  \
           |\n\
         4 | name = \"heron\"\n  \
           |        ^^^^^^^\n\
         hint: the first stands on line 2"
    );
    for noun in ["band", "meter", "antenna"] {
        assert_eq!(kinds(&format!("[[{noun}]]\nname='x'\n[[{noun}]]\nname='x'")), [Kind::DuplicateName], "{noun}");
    }
    let quantity = |name: &str| format!("[[quantity]]\nname = '{name}'\nunit = 'dB'\nscale = 'as read'\n");
    assert_eq!(kinds(&quantity("x").repeat(2)), [Kind::DuplicateName]);
    assert_eq!(kinds(&quantity("swr")), [Kind::DuplicateName]);
}

#[test]
fn one_name_for_a_band_and_a_meter_is_no_duplicate() {
    season("[[band]]\nname = 'x'\n[[meter]]\nname = 'x'\n[[antenna]]\nname = 'x'");
}

#[test]
fn a_name_the_season_does_not_hold_names_the_nearest() {
    assert_eq!(
        error("reference = \"hern\"\n[[antenna]]\nname = \"heron\"\n"),
        "season.toml:1:13: `hern` is not an antenna of this season\n  \
           |\n\
         1 | reference = \"hern\"\n  \
           |             ^^^^^^\n\
         hint: did you mean `heron`?"
    );
    assert_eq!(
        error("[[band]]\nname = \"2 m\"\n[[meter]]\nname = \"m\"\nline_loss_db = { \"6 m\" = 0.2 }\n"),
        "season.toml:5:18: `6 m` is not a band of this season, wanted `2 m`\n  \
           |\n\
         5 | line_loss_db = { \"6 m\" = 0.2 }\n  \
           |                  ^^^^^"
    );
}

#[test]
fn every_reference_is_checked_once_its_kind_is_declared() {
    let declared = "[[band]]\nname = 'u'\n[[meter]]\nname = 'm'\n";
    let source = "[[source]]\nname = 's'\nshared_by = 'visit'\nstandard = 1\n";
    for wrong in [
        "[matters]\nzzz = 1",
        "[weights]\nzzz = 1",
        "[weights]\nswr = { zzz = 1 }",
        "[[antenna]]\nname = 'a'\ngain_dbi = { zzz = { value = 1, standard = 1 } }",
        "[[antenna]]\nname = 'a'\nclaims = [ { quantity = 'zzz', at_most = 1 } ]",
        "[[antenna]]\nname = 'a'\nclaims = [ { quantity = 'swr', at_most = 1, bands = ['zzz'] } ]",
        "[[meter]]\nname = 'n'\nresolution = { zzz = 1 }",
        "[[leave_out]]\nband = 'zzz'\nreason = 'x'",
        "[[leave_out]]\nmeter = 'zzz'\nreason = 'x'",
        "[[leave_out]]\nquantity = 'zzz'\nreason = 'x'",
        &format!("{source}quantity = 'zzz'"),
        &format!("{source}quantity = 'swr'\nmeter = 'zzz'"),
        &format!("{source}quantity = 'swr'\nband = 'zzz'"),
    ] {
        assert_eq!(kinds(&format!("{declared}{wrong}")), [Kind::UnknownName], "{wrong}");
    }
    season("reference = 'a'\n[[leave_out]]\nband = 'u'\nmeter = 'm'\nreason = 'nothing is declared, so all may be'");
}

#[test]
fn a_source_gives_its_size_once() {
    let source = "[[source]]\nname = \"s\"\nquantity = \"field_strength\"\nshared_by = \"visit\"\n";
    assert_eq!(
        error(&format!("{source}half_width = 1\nstandard = 1\n")),
        "season.toml:6:12: [[source]] gives both `half_width` and `standard`\n  \
           |\n\
         6 | standard = 1\n  \
           |            ^\n\
         hint: keep one of the two"
    );
    assert_eq!(kinds(source), [Kind::MissingKey]);
    for wrong in ["shape = 'normal'\nhalf_width = 1", "shape = 'vector'\nhalf_width = 0.1", "standard = 1\ntop = 0.5"] {
        assert_eq!(kinds(&format!("{source}{wrong}")), [Kind::Conflict], "{wrong}");
    }
    assert_eq!(kinds(&format!("{source}shape = 'trapezoidal'\nhalf_width = 1")), [Kind::MissingKey]);
}

#[test]
fn a_vector_is_no_longer_than_a_reflection() {
    assert_eq!(
        error("[[source]]\nname = 's'\nquantity = 'swr'\nshared_by = 'antenna'\nshape = 'vector'\nhalf_width = 20\n"),
        "season.toml:5:9: a `vector` of half-width 20 is longer than any reflection, wanted 1 at most\n  \
           |\n\
         5 | shape = 'vector'\n  \
           |         ^^^^^^^^\n\
         hint: its size is a reflection coefficient: a directivity of 20 dB is 0.1"
    );
}

#[test]
fn one_line_loss_for_every_band_needs_bands() {
    assert_eq!(
        error("[[meter]]\nname = \"m\"\nline_loss_db = 0.2\n"),
        "season.toml:3:16: one `line_loss_db` for every band, but no band is declared\n  \
           |\n\
         3 | line_loss_db = 0.2\n  \
           |                ^^^\n\
         hint: give each band a `[[band]]` entry, or the loss by band: `{ \"2 m\" = 0.2 }`"
    );
}

#[test]
fn a_claim_has_a_limit_that_can_be_met() {
    let claim = |inside: &str| format!("[[antenna]]\nname = 'a'\nclaims = [ {{ quantity = 'swr'{inside} }} ]");
    assert_eq!(kinds(&claim("")), [Kind::MissingKey]);
    assert_eq!(kinds(&claim(", at_most = 1, at_least = 2")), [Kind::Conflict]);
    assert_eq!(kinds(&claim(", at_most = 'x'")), [Kind::WrongType]);
}

#[test]
fn leaving_out_says_what_and_why() {
    assert_eq!(kinds("[[leave_out]]\nreason = 'everything'"), [Kind::MissingKey]);
    assert_eq!(kinds("[[leave_out]]\nsession = 'x'"), [Kind::MissingKey]);
    assert_eq!(kinds("[[leave_out]]\nsession = 2026-05-02T10:00:00\nreason = 'x'"), [Kind::WrongType]);
}

#[test]
fn a_name_is_not_empty_and_has_no_space_at_its_ends() {
    assert_eq!(kinds("[[band]]\nname = ''"), [Kind::OutOfRange]);
    assert_eq!(kinds("[[band]]\nname = ' 2 m'"), [Kind::OutOfRange]);
}

#[test]
fn single_brackets_are_told_to_be_double() {
    assert_eq!(
        error("[band]\nname = \"2 m\"\n"),
        "season.toml:1:1: `band` is a table, wanted entries headed `[[band]]`\n  \
           |\n\
         1 | [band]\n  \
           | ^^^^^^\n\
         hint: head each entry with `[[band]]`, in double brackets"
    );
    assert_eq!(kinds("[[matters]]\nswr = 1"), [Kind::WrongType]);
}

#[test]
fn sweeps_are_named_one_by_one_or_by_a_pattern() {
    let config = season(
        "sweep_pattern = '{session}_{antenna}.s1p'\n[[sweep]]\nfile = 'sweeps/a/b.s1p'\nsession = 2026-05-02\n\
         antenna = 'heron'\nmounting = 2\nwhen = 2026-05-02T14:30:00\norder = 3\n",
    );
    let [sweep] = &config.sweeps[..] else { panic!("one entry") };
    assert_eq!((sweep.file.as_str(), sweep.session.as_str(), sweep.mounting), ("a/b.s1p", "2026-05-02", Some(2)));
    assert_eq!((sweep.when, sweep.order, sweep.line), (Some(1_777_732_200_000_000), Some(3.0), 2));
    assert!(config.sweep_pattern.is_some());
}

#[test]
fn a_sweep_s_file_never_leads_out_of_its_folder() {
    for file in ["../x.s1p", "/etc/passwd", "a/../../x", "sweeps/../x", "a\\\\..\\\\..\\\\x", "sweeps/"] {
        let text = format!("[[sweep]]\nfile = \"{file}\"\nsession = 'a'\nantenna = 'b'\n");
        assert_eq!(kinds(&text), [Kind::OutOfRange], "{file}");
    }
    assert_eq!(
        error("sweep_pattern = \"{session}{antenna}\"\n"),
        "season.toml:1:17: two names follow each other with nothing between: where one ends can't be told\n  \
           |\n\
         1 | sweep_pattern = \"{session}{antenna}\"\n  \
           |                 ^^^^^^^^^^^^^^^^^^^^\n\
         hint: for example `sweep_pattern = \"{session}/{antenna}-{mounting}.s1p\"`"
    );
}

#[test]
fn text_that_is_not_toml_is_explained_once_a_line() {
    assert_eq!(
        error("confidence = 0,95\ntitle = marsh\n"),
        "season.toml:1:15: this is one thing too many for the line\n  \
           |\n\
         1 | confidence = 0,95\n  \
           |               ^\n\
         hint: the decimal mark is a point, as in 0.95\n\
         \n\
         season.toml:2:9: `marsh` is not a value\n  \
           |\n\
         2 | title = marsh\n  \
           |         ^^^^^\n\
         hint: text goes in double quotes, a number stands by itself"
    );
    assert_eq!(kinds("line_loss_db = { 2 m = 0.2 }\n[[band]\n"), [Kind::Syntax]);
    assert_eq!(error("title = “Marsh”").lines().last(), Some("hint: quotes are the straight ones: \""));
}

#[test]
fn every_error_of_a_file_is_reported_at_once_in_its_order() {
    let text = "[[meter]]\nname = 'm'\nkind = 'x'\n[[band]]\nnmae = 'u'\n[[antenna]]\nname = 3\nprice = -1";
    let error = parse(text, "season.toml").unwrap_err();
    let lines: Vec<_> = error.problems().iter().map(|p| p.position().map(|at| at.line())).collect();
    assert_eq!(lines, [3, 4, 5, 7, 8].map(Some));
}

#[test]
fn a_byte_order_mark_moves_no_column() {
    assert!(error("\u{feff}confidence = 2").starts_with("season.toml:1:14: "));
}

#[test]
fn a_folder_is_read_or_says_what_it_lacks() {
    let home = tempfile::tempdir().unwrap();
    let kind = |result: Result<Config, daylight::season::error::InputError>| result.unwrap_err().kind();
    assert_eq!(kind(read(&home.path().join("none"))), Some(Kind::NotThere));
    assert_eq!(kind(read(home.path())), Some(Kind::NoSeason));
    let path = home.path().join("season.toml");
    std::fs::write(&path, b"title = \"M\xe4rsh\"").unwrap();
    assert_eq!(kind(read(home.path())), Some(Kind::Unreadable));
    std::fs::write(&path, "titel = 'Marsh'").unwrap();
    assert!(read(home.path()).unwrap_err().to_string().starts_with(&format!("{}:1:1: ", path.display())));
    std::fs::write(&path, "title = 'Marsh'").unwrap();
    assert_eq!(read(home.path()).unwrap().title, "Marsh");
}
