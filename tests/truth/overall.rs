//! Verdicts that rest on more than one set's own sessions, against seasons in which no antenna differs: the ranking over
//! sets that share their visits, and pairs that no session joins.

use daylight::analysis::antennas::result::{Antennas, Verdict};
use daylight::analysis::antennas::set_analysis::Options;
use daylight::analysis::antennas::{Choice, analyse};
use daylight::season::Season;
use daylight::stats::student_t::t_quantile;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

const HEAD: &str = "session,antenna,band,meter,quantity,value,mounting\n";

fn answer(toml: &str, rows: &str, seed: u64) -> Antennas {
    let dir = tempfile::tempdir().unwrap();
    std::fs::write(dir.path().join("season.toml"), toml).unwrap();
    std::fs::write(dir.path().join("log.csv"), format!("{HEAD}{rows}")).unwrap();
    let season = Season::load(dir.path()).unwrap_or_else(|e| panic!("{e}"));
    let options = Options { confidence: 0.95, seed, trials: Some(1000) };
    analyse(&season, &Choice::default(), &options, &|| ()).unwrap()
}

/// Normal draws of a season.
struct Noise(ChaCha8Rng);

impl Noise {
    fn of(season: u64) -> Noise {
        Noise(ChaCha8Rng::seed_from_u64(season))
    }

    fn sd(&mut self, sd: f64) -> f64 {
        let z: f64 = StandardNormal.sample(&mut self.0);
        sd * z
    }
}

/// How many of so many seasons an event may occur in, if its chance is 5 %: four standard deviations above.
fn at_most(seasons: usize) -> usize {
    let n = seasons as f64;
    (0.05 * n + 4.0 * (0.05 * 0.95 * n).sqrt()) as usize
}

/// Two meters on the same mountings err together; taken as independent, one season in five ranks equal antennas.
#[test]
fn equal_antennas_are_rarely_ranked_apart_over_two_meters_that_read_the_same_mountings() {
    const SEASONS: usize = 300;
    let toml = "[[meter]]\nname = 'one'\nresolution = { swr = 0.0001 }\n[[meter]]\nname = 'two'\n\
                resolution = { swr = 0.0001 }\n[weights]\nswr = 1.0\n[matters]\nswr = 0.3\n";
    let ranked = |season: usize| {
        let mut noise = Noise::of(season as u64);
        let mut rows = String::new();
        for session in 0..4 {
            let day = [noise.sd(0.006), noise.sd(0.006)];
            for antenna in 0..4 {
                let visit = noise.sd(0.01);
                for mounting in 1..=2 {
                    let seat = noise.sd(0.01);
                    for (meter, day) in ["one", "two"].into_iter().zip(day) {
                        for _ in 0..2 {
                            let reflection = 0.25 + day + visit + seat + noise.sd(0.004);
                            let swr = (1.0 + reflection) / (1.0 - reflection);
                            rows += &format!("s{session},a{antenna},2 m,{meter},swr,{swr:.4},{mounting}\n");
                        }
                    }
                }
            }
        }
        let overall = answer(toml, &rows, season as u64).overall.expect("both sets have a weight");
        assert_eq!(overall.antennas.len(), 4);
        overall.apart > 0
    };
    let false_ones = (0..SEASONS).filter(|&s| ranked(s)).count();
    println!("{false_ones} of {SEASONS} seasons rank equal antennas");
    assert!(false_ones <= at_most(SEASONS), "{false_ones} of {SEASONS}");
}

/// Three antennas in two sessions and a fourth on a day of its own: whole days differ by 1, and with one degree of
/// freedom for that they often look alike by luck.
#[test]
fn an_antenna_on_a_day_of_its_own_is_rarely_called_apart_from_its_equals() {
    const SEASONS: usize = 400;
    let toml = "repeats = 'left on'\n[[meter]]\nname = 'field'\nresolution = { field_strength = 0.0001 }\n";
    let called = |season: usize| {
        let mut noise = Noise::of(1000 + season as u64);
        let mut rows = String::new();
        for (session, antennas) in [(0, 0..3), (1, 0..3), (2, 3..4)] {
            let day = noise.sd(1.0);
            for antenna in antennas {
                let visit = noise.sd(0.4);
                for mounting in 1..=2 {
                    let seat = noise.sd(0.3);
                    for _ in 0..2 {
                        let y = day + visit + seat + noise.sd(0.2);
                        rows += &format!("s{session},a{antenna},2 m,field,field_strength,{y:.4},{mounting}\n");
                    }
                }
            }
        }
        let answer = answer(toml, &rows, season as u64);
        let set = &answer.sets[0];
        for p in set.pairs.iter().filter(|p| !p.joined && p.verdict != Verdict::Unlinked) {
            // one session more than groups, six pairs: by its own t at its share of 5 %, or wider
            let (range, error, df) = (p.range.unwrap(), p.standard_error.unwrap(), p.df.unwrap());
            let alone = t_quantile(1.0 - 0.05 / 12.0, df) * error;
            assert!(df <= 1.0 + 1e-9 && (range.high - range.low) / 2.0 > 0.999 * alone, "{season}: {p:?}");
            let p_value = p.p_adjusted.unwrap();
            assert!((p.verdict == Verdict::Apart) == (p_value <= 0.05 + 1e-9), "{season}: {p_value}");
        }
        let apart = |joined: bool| set.pairs.iter().any(|p| p.joined == joined && p.verdict == Verdict::Apart);
        (apart(false), apart(true))
    };
    let all: Vec<(bool, bool)> = (0..SEASONS).map(called).collect();
    let count = |is: fn(&(bool, bool)) -> bool| all.iter().filter(|c| is(c)).count();
    let (alone, any) = (count(|c| c.0), count(|c| c.0 || c.1));
    println!("{alone} of {SEASONS} seasons set the lone antenna apart, {any} any");
    assert!(any <= at_most(SEASONS), "{any} of {SEASONS}, {alone} by the lone one");
}

/// Field strengths on four days and SWRs on four others share no visit: both count all the same.
#[test]
fn sets_of_different_days_are_ranked_together() {
    let toml = "[weights]\nswr = 1.0\nfield_strength = 1.0\n";
    let mut rows = String::new();
    for session in 0..8 {
        for (antenna, better) in [("a", 1.0), ("b", 0.0), ("c", -1.0)] {
            for mounting in 1..=2 {
                let off = 0.02 * f64::from((session * 3 + mounting * 5) % 7);
                rows += &match session % 2 {
                    0 => format!("s{session},{antenna},2 m,m,swr,{:.2},{mounting}\n", 1.8 - 0.3 * better + off),
                    _ => format!(
                        "s{session},{antenna},2 m,f,field_strength,{:.2},{mounting}\n",
                        3.0 * better + off - 40.0
                    ),
                };
            }
        }
    }
    let overall = answer(toml, &rows, 1).overall.unwrap();
    let names: Vec<&str> = overall.antennas.iter().map(|a| a.antenna.as_str()).collect();
    assert_eq!((names, overall.apart), (vec!["a", "b", "c"], 3));
}

/// The same |Z| behind both: 20 − 200j Ω. A wave of 30 dB moves R by up to 0.0316·(201 + 50)²/100 = 20 Ω, which only the
/// reactance in the log tells.
#[test]
fn a_false_wave_moves_a_small_resistance_as_far_as_the_reactance_beside_it_lets_it() {
    let toml = "[[meter]]\nname = 'an'\ndirectivity_db = 30\nresolution = { resistance = 0.1, reactance = 0.1 }\n";
    let mut rows = String::new();
    for session in 0..3 {
        for (antenna, r) in [("a", 15.0), ("b", 25.0)] {
            for mounting in 1..=2 {
                let off = 0.1 * f64::from((session + mounting) % 3);
                rows += &format!("s{session},{antenna},2 m,an,resistance,{:.1},{mounting}\n", r + off);
                rows += &format!("s{session},{antenna},2 m,an,reactance,{:.1},{mounting}\n", -200.0 - off);
            }
        }
    }
    let with = answer(toml, &rows, 1);
    let set = with.sets.iter().find(|s| s.quantity.name == "resistance").unwrap();
    assert_eq!(set.pairs[0].verdict, Verdict::Noise);
    let wave = set.sources.iter().find(|s| s.name.starts_with("directivity")).unwrap();
    // arcsine: the half-width over √2
    let wanted = 10f64.powf(-1.5) * (15.1f64.hypot(200.1) + 50.0).powi(2) / 100.0 / 2f64.sqrt();
    assert!((wave.standard[0] - wanted).abs() < 0.01 * wanted, "{} {wanted}", wave.standard[0]);
    // without it nothing tells: |Z| is taken as 50 Ω
    let alone: String = rows.lines().filter(|l| l.contains("resistance")).map(|l| format!("{l}\n")).collect();
    assert_eq!(answer(toml, &alone, 1).sets[0].pairs[0].verdict, Verdict::Apart);
}
