//! Any bytes as a Touchstone file: a trace of finite points in ascending order, or an error that says where.
#![no_main]

use daylight::season::sweeps::touchstone::read;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    match read(bytes) {
        Ok(trace) => {
            assert!(!trace.points.is_empty());
            assert!(trace.points.windows(2).all(|p| p[0].hertz < p[1].hertz), "not ascending");
            assert!(trace.points.iter().all(|p| p.hertz.is_finite() && p.gamma.is_finite()), "not finite");
            let (first, last) = (trace.points[0].hertz, trace.points[trace.points.len() - 1].hertz);
            for hertz in [first, last, (first + last) / 2.0, first * 1.000_001] {
                assert!(trace.at(hertz).is_none_or(|(gamma, _)| gamma.is_finite()));
            }
            let dip = trace.dip(0.0, f64::INFINITY);
            assert!(dip.is_none_or(|d| d.hertz >= first && d.hertz <= last));
        }
        Err(fault) => assert!(!fault.what.is_empty()),
    }
});
