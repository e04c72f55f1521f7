//! Scratch version.
use daylight::montecarlo::{replays::Replays, simultaneous::SetFit, stream::stream};
use daylight::stats::mixed::{Layout, MountingSummary};
use rand::RngExt;
use rand_distr::{ChiSquared, StandardNormal};
use rayon::prelude::*;
use std::time::Instant;

#[derive(Clone)]
struct Design {
    name: &'static str,
    a: usize,
    s: usize,
    m: usize,
    n: usize,
    kind: u8,
    sd: [f64; 4],
    eff: f64,
}

fn season(d: &Design, seed: u64, null: bool) -> Vec<MountingSummary> {
    let mut rng = stream(seed, 77, 0);
    let mut z = || -> f64 { rng.sample(StandardNormal) };
    let mut out = vec![];
    for s in 0..d.s {
        let es = d.sd[0] * z();
        for a in 0..d.a {
            let present = match d.kind {
                0 => true,
                1 => (a * 7 + s * 3 + (a * s) % 5) % 3 != 0 || a == 0, // incomplete
                2 => a == 0 || a % d.s == s || (a + 1) % d.s == s,     // ref-linked, others in 2
                3 => a == 0 || a % d.s == s,                           // ref-linked, others in one
                _ => true,
            };
            let ev = d.sd[1] * z();
            let mm = if d.kind == 4 { 1 + (a + s) % d.m } else { d.m };
            for mi in 0..mm {
                let em = d.sd[2] * z();
                let n = if d.kind == 4 { 1 + (a + 2 * s + mi) % d.n } else { d.n };
                let e0 = d.sd[3] * z() / (n as f64).sqrt();
                let ss: f64 = if n > 1 {
                    let c = ChiSquared::new((n - 1) as f64).unwrap();
                    let mut r2 = stream(seed, 78, (s * 1000 + a * 50 + mi) as u64);
                    d.sd[3] * d.sd[3] * r2.sample(c)
                } else {
                    0.0
                };
                if present {
                    let mu = if null { 0.0 } else { d.eff * a as f64 };
                    out.push(MountingSummary {
                        session: s,
                        antenna: a,
                        readings: n as f64,
                        df: (n - 1) as f64,
                        mean: mu + es + ev + em + e0,
                        sum_of_squares: ss,
                    });
                }
            }
        }
    }
    out
}

fn main() {
    let designs = vec![
        Design { name: "2a 2s complete 2x3", a: 2, s: 2, m: 2, n: 3, kind: 0, sd: [1., 0.4, 0.3, 0.2], eff: 1.5 },
        Design { name: "3a 2s complete 2x3 visit0", a: 3, s: 2, m: 2, n: 3, kind: 0, sd: [1., 0., 0.3, 0.2], eff: 0.7 },
        Design { name: "3a 3s complete 2x3", a: 3, s: 3, m: 2, n: 3, kind: 0, sd: [1., 0.4, 0.3, 0.2], eff: 0.7 },
        Design { name: "4a 4s complete 2x3 v0", a: 4, s: 4, m: 2, n: 3, kind: 0, sd: [1., 0., 0.3, 0.2], eff: 0.4 },
        Design { name: "6a 6s incomplete", a: 6, s: 6, m: 2, n: 3, kind: 1, sd: [1., 0.4, 0.3, 0.2], eff: 0.4 },
        Design { name: "6a 6s incomplete v0", a: 6, s: 6, m: 2, n: 3, kind: 1, sd: [1., 0., 0.3, 0.2], eff: 0.4 },
        Design { name: "6a 6s incomplete s0", a: 6, s: 6, m: 2, n: 3, kind: 1, sd: [0., 0.4, 0.3, 0.2], eff: 0.4 },
        Design { name: "6a 3s reflinked2", a: 6, s: 3, m: 2, n: 3, kind: 2, sd: [1., 0.4, 0.3, 0.2], eff: 0.6 },
        Design { name: "6a 3s reflinked2 s0", a: 6, s: 3, m: 2, n: 3, kind: 2, sd: [0., 0.4, 0.3, 0.2], eff: 0.6 },
        Design {
            name: "6a 3s reflinked2 s small",
            a: 6,
            s: 3,
            m: 2,
            n: 3,
            kind: 2,
            sd: [0.3, 0.4, 0.3, 0.2],
            eff: 0.6,
        },
        Design { name: "6a 3s reflinked2 v0", a: 6, s: 3, m: 2, n: 3, kind: 2, sd: [1., 0.0, 0.3, 0.2], eff: 0.6 },
        Design {
            name: "8a 5s reflinked1 (df_v=0)",
            a: 8,
            s: 5,
            m: 2,
            n: 3,
            kind: 3,
            sd: [0.3, 0.4, 0.3, 0.2],
            eff: 0.6,
        },
        Design { name: "4a 3s messy", a: 4, s: 3, m: 3, n: 3, kind: 4, sd: [1., 0.4, 0.3, 0.2], eff: 0.6 },
        Design { name: "4a 3s messy v0", a: 4, s: 3, m: 3, n: 3, kind: 4, sd: [1., 0., 0.3, 0.2], eff: 0.6 },
        Design { name: "4a 2s messy v0", a: 4, s: 2, m: 3, n: 3, kind: 4, sd: [1., 0., 0.3, 0.2], eff: 0.6 },
        Design { name: "4a 3s incompl 1x1", a: 4, s: 4, m: 1, n: 1, kind: 1, sd: [1., 0.3, 0.3, 0.2], eff: 0.6 },
        Design { name: "9a 9s incompl 2x3", a: 9, s: 9, m: 2, n: 3, kind: 1, sd: [1., 0.35, 0.3, 0.2], eff: 0.3 },
        Design { name: "10a 8s 2x3", a: 10, s: 8, m: 2, n: 3, kind: 0, sd: [1., 0.35, 0.3, 0.2], eff: 0.3 },
    ];
    let seasons: u64 = std::env::var("SEASONS").ok().and_then(|s| s.parse().ok()).unwrap_or(400);
    let trials = 1000;
    for d in &designs {
        let t0 = Instant::now();
        let run = |null: bool| -> Vec<(bool, f64, f64, bool, bool, usize)> {
            (0..seasons)
                .into_par_iter()
                .map(|i| {
                    let data = season(d, 1000 + i, null);
                    let (layout, data) = Layout::new(d.a, &data).unwrap();
                    let fit = SetFit::new(layout, &data, 0.0, 0.95).unwrap();
                    let mut r = Replays::default();
                    fit.replay(&mut r, trials, 5, i, &|| ());
                    let q = r.quantile(0.95);
                    let mut any = false;
                    let mut apart = 0.0;
                    let mut pcov = 0.0;
                    for p in &fit.pairs {
                        let truth = if null { 0.0 } else { d.eff * (p.first as f64 - p.second as f64) };
                        if p.difference.abs() > p.half_width(q) {
                            apart += 1.0;
                        }
                        if (p.difference - truth).abs() > p.half_width(q) {
                            any = true;
                        }
                        let t = daylight::montecarlo::simultaneous::t_quantile(0.975, p.error.df) * p.error.adjusted;
                        if (p.difference - truth).abs() <= t {
                            pcov += 1.0;
                        }
                    }
                    let np = fit.pairs.len() as f64;
                    (
                        any,
                        apart / np,
                        pcov / np,
                        fit.inference.basis.collapsed_to.is_some(),
                        fit.inference.basis.session_fixed,
                        r.unsettled,
                    )
                })
                .collect()
        };
        let null = run(true);
        let alt = run(false);
        let n = seasons as f64;
        let rate =
            |f: &dyn Fn(&(bool, f64, f64, bool, bool, usize)) -> f64, v: &Vec<_>| v.iter().map(f).sum::<f64>() / n;
        println!(
            "{:28} fwer {:.3}  power {:.3}  single cov {:.3}  collapsed {:.2} fixed {:.2} unsettled/1000 {:.2}  {:.1} us/replay",
            d.name,
            rate(&|x| f64::from(u8::from(x.0)), &null),
            rate(&|x| x.1, &alt),
            rate(&|x| x.2, &null),
            rate(&|x| f64::from(u8::from(x.3)), &null),
            rate(&|x| f64::from(u8::from(x.4)), &null),
            rate(&|x| x.5 as f64, &null),
            t0.elapsed().as_secs_f64() * 1e6 * 2.0 / (2.0 * n * trials as f64)
        );
    }
}
