//! Prices in bits: what it costs to write down which steps of a voice are struck.
//!
//! In: how often each phase of a length was struck and how often it came by. Out: bits. Two codes compete, and the
//! cheaper one counts: a rate of its own for every phase, learned on the way (Krichevsky & Trofimov, IEEE Trans.
//! Inform. Theory 27, 1981), or a figure written out first, phase by phase struck or not, with one learned rate for
//! the struck phases and one for the others. The second knows what a figure is, so a short one shows sooner.

/// How often the phases of some length were struck.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Tally {
    /// Strokes on each phase.
    pub(super) struck: Vec<u32>,
    /// How often each phase came by.
    pub(super) seen: Vec<u32>,
}

impl Tally {
    /// No phases struck yet.
    pub(super) fn clear(&mut self, length: usize) {
        self.struck.clear();
        self.struck.resize(length, 0);
        self.seen.clear();
        self.seen.resize(length, 0);
    }

    /// The same strokes counted over a length that divides this one.
    pub(super) fn fold(&self, length: usize, into: &mut Tally) {
        into.clear(length);
        for (phase, (&struck, &seen)) in self.struck.iter().zip(&self.seen).enumerate() {
            into.struck[phase % length] += struck;
            into.seen[phase % length] += seen;
        }
    }
}

/// Tables for code lengths of up to a fixed number of steps.
#[derive(Debug, Clone)]
pub(super) struct Codes {
    /// log2 of Γ(k + 1/2) / Γ(1/2).
    half: Vec<f64>,
    /// log2 of k!.
    whole: Vec<f64>,
}

impl Codes {
    /// Tables that serve any stretch of up to `steps` steps and figures of up to as many.
    pub(super) fn new(steps: usize) -> Self {
        let (mut half, mut whole) = (vec![0.0; steps + 2], vec![0.0; steps + 2]);
        for k in 1..steps + 2 {
            half[k] = half[k - 1] + (k as f64 - 0.5).log2();
            whole[k] = whole[k - 1] + (k as f64).log2();
        }
        Codes { half, whole }
    }

    /// Bits for a row of `seen` steps of which `struck` are struck, at a rate learned on the way.
    pub(super) fn rate(&self, struck: u32, seen: u32) -> f64 {
        let (struck, seen) = (struck as usize, seen as usize);
        self.whole[seen] - self.half[struck] - self.half[seen - struck]
    }

    /// Bits to say which `struck` of `phases` phases a figure strikes.
    fn figure(&self, struck: usize, phases: usize) -> f64 {
        let choose = self.whole[phases] - self.whole[struck] - self.whole[phases - struck];
        choose + (phases as f64 + 1.0).log2()
    }

    /// Bits for all strokes of a tally by the cheaper of the two codes.
    pub(super) fn bits(&self, tally: &Tally, order: &mut Vec<u64>) -> f64 {
        let each: f64 = tally
            .struck
            .iter()
            .zip(&tally.seen)
            .map(|(&k, &n)| self.rate(k, n))
            .sum();
        each.min(self.split(tally, order).0) + 1.0
    }

    /// The share of struck steps on the phases that the best figure strikes; 0 when it strikes none.
    pub(super) fn struck_rate(&self, tally: &Tally, order: &mut Vec<u64>) -> f64 {
        let (_, struck) = self.split(tally, order);
        let (mut hits, mut steps) = (0u32, 0u32);
        for key in order.iter().take(struck) {
            hits += tally.struck[phase_of(*key)];
            steps += tally.seen[phase_of(*key)];
        }
        f64::from(hits) / f64::from(steps.max(1))
    }

    /// Bits for all strokes of a tally when every phase is struck at the same rate.
    pub(super) fn even(&self, tally: &Tally) -> f64 {
        self.rate(tally.struck.iter().sum(), tally.seen.iter().sum())
    }

    /// The figure that explains a tally best: which phases are struck.
    pub(super) fn mask(&self, tally: &Tally) -> Vec<bool> {
        let mut order = Vec::new();
        let (_, struck) = self.split(tally, &mut order);
        let mut mask = vec![false; tally.struck.len()];
        for key in order.iter().take(struck) {
            mask[phase_of(*key)] = true;
        }
        mask
    }

    /// Bits of the best written-out figure, and how many phases it strikes: the first so many of `order`.
    fn split(&self, tally: &Tally, order: &mut Vec<u64>) -> (f64, usize) {
        let phases = tally.struck.len();
        order.clear();
        order.extend(
            (tally.struck.iter().zip(&tally.seen))
                .enumerate()
                .map(|(phase, (&struck, &seen))| {
                    let rate = (u64::from(struck) << 32) / u64::from(seen.max(1));
                    ((1 << 32) - rate) << PHASE_BITS | phase as u64
                }),
        );
        order.sort_unstable();
        let (all, seen): (u32, u32) = (tally.struck.iter().sum(), tally.seen.iter().sum());
        let mut best = (self.figure(0, phases) + self.rate(all, seen), 0);
        let (mut on, mut on_seen) = (0, 0);
        for (k, key) in order.iter().enumerate() {
            let phase = phase_of(*key);
            on += tally.struck[phase];
            on_seen += tally.seen[phase];
            let bits =
                self.figure(k + 1, phases) + self.rate(on, on_seen) + self.rate(all - on, seen - on_seen);
            if bits < best.0 {
                best = (bits, k + 1);
            }
        }
        best
    }
}

/// Phases are sorted by keys that hold a rate, falling, above the number of the phase.
const PHASE_BITS: u32 = 16;

/// The phase in a key.
fn phase_of(key: u64) -> usize {
    (key & ((1 << PHASE_BITS) - 1)) as usize
}
