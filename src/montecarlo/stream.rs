//! Random numbers that do not depend on the number of threads: every chunk of trials has a stream of
//! its own, numbered by what the chunk is for, so any thread may take any chunk.

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_xoshiro::Xoshiro256PlusPlus;

/// The generator of one chunk.
pub type Stream = ChaCha8Rng;

/// The stream of chunk `chunk` of task `task` under `seed`.
///
/// ChaCha's streams are disjoint by construction: 2⁶⁴ of them, each 2⁷⁰ bytes long. Tasks are numbered
/// by the caller below 2²⁴; up to 2⁴⁰ chunks each.
pub fn stream(seed: u64, task: u64, chunk: u64) -> Stream {
    debug_assert!(task < 1 << 24 && chunk < 1 << 40, "a stream of its own for every task and chunk");
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    rng.set_stream(task << 40 | (chunk & ((1 << 40) - 1)));
    rng
}

/// The stream of chunk `chunk` of task `task` under `seed` where numbers are all there is to the work: a generator
/// a third as dear (xoshiro256++, Blackman and Vigna 2021).
///
/// Its state is the head of that chunk's own [`stream`]. States drawn at random overlap with a probability of some
/// n²·l/2²⁵⁶ for n chunks of l numbers: below 2⁻¹⁶⁰ for all that one machine can ever draw.
pub fn swift_stream(seed: u64, task: u64, chunk: u64) -> Xoshiro256PlusPlus {
    let mut state = [0; 32];
    stream(seed, task, chunk).fill_bytes(&mut state);
    Xoshiro256PlusPlus::from_seed(state)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::RngExt;

    #[test]
    fn streams_repeat_themselves_and_differ_from_each_other() {
        let first = |seed, task, chunk| stream(seed, task, chunk).random::<u64>();
        assert_eq!(first(1, 2, 3), first(1, 2, 3));
        assert_ne!(first(1, 2, 3), first(1, 2, 4));
        assert_ne!(first(1, 2, 3), first(1, 3, 3));
        assert_ne!(first(1, 2, 3), first(2, 2, 3));
        let swift = |seed, task, chunk| swift_stream(seed, task, chunk).random::<u64>();
        assert_eq!(swift(1, 2, 3), swift(1, 2, 3));
        assert_ne!(swift(1, 2, 3), swift(1, 2, 4));
        assert_ne!(swift(1, 2, 3), swift(1, 3, 3));
        assert_ne!(swift(1, 2, 3), swift(2, 2, 3));
        assert_ne!(swift(1, 2, 3), first(1, 2, 3));
    }
}
