//! The way to the best beats while it is being found: for each beat that may begin at a frame with some length, the best
//! score and the length of the beat before it.
//!
//! A Viterbi search remembers where it came from until it ends. Over hours that is much, so after some time the beats
//! that lie far behind are settled: the way that is best so far is taken, and those that do not pass through it are
//! given up. Long before, all ways that are worth following have become one.

use pulp::Simd;

/// The way that is being found with one way to hold the tempo.
pub(super) struct Way {
    /// Frames of the shortest beat, and how many lengths there are.
    shortest: usize,
    count: usize,
    /// Best score of a beat that ends at a frame (modulo the ring) and had a length, in rows of so many lengths and
    /// [`REACH`] more on either side, which no beat has. A beat ends within the ring.
    ended: Vec<f32>,
    row: usize,
    ring: usize,
    /// The place in the ring of the frame that was reached.
    slot: usize,
    /// Best score of what leads to a beat of each length at the frame that was reached.
    best: Vec<f32>,
    /// The last frame at which a row of beats may begin with nothing before.
    first: usize,
    /// For each length, which of those near it the beat before has, for frames from `base` on.
    from: Vec<u8>,
    base: usize,
    /// Frames that are remembered before some are settled.
    kept: usize,
    /// Beats before `base`.
    settled: Vec<usize>,
    /// The last beat of the best row so far, and its score.
    end: (usize, usize),
    score: f64,
}

/// Nothing goes before this beat.
const NOTHING: u8 = u8::MAX;

/// A beat's length differs from that of the one before by at most so many frames, some 6 %.
pub(super) const REACH: usize = 3;

/// How many lengths may go before one.
const NEAR: usize = 2 * REACH + 1;

/// Lengths are filled up to whole vectors of the widest that there are.
pub(super) const LANES: usize = 16;

/// For each length that goes before, counted from [`REACH`] shorter, the price of going on to every length.
pub(super) type Prices = [Vec<f32>; NEAR];

/// The prices of going from each of `count` lengths to those near it.
pub(super) fn prices(count: usize, price: impl Fn(usize, usize) -> f64) -> Prices {
    let of = |near: usize, to: usize| {
        let from = (to + near).checked_sub(REACH);
        from.filter(|from| *from < count && to < count)
            .map_or(f32::INFINITY, |from| price(from, to) as f32)
    };
    let lanes = count.next_multiple_of(LANES);
    std::array::from_fn(|near| (0..lanes).map(|to| of(near, to)).collect())
}

impl Way {
    /// Of beats of `count` lengths, `shortest` frames and more, the first of which begins at frame `first` or before.
    pub(super) fn new(shortest: usize, count: usize, first: usize, kept: usize) -> Way {
        let lanes = count.next_multiple_of(LANES);
        let (ring, row) = (shortest + count, lanes + 2 * REACH);
        Way {
            shortest,
            count,
            ended: vec![f32::NEG_INFINITY; ring * row],
            row,
            ring,
            slot: 0,
            best: vec![f32::NEG_INFINITY; lanes],
            first,
            from: Vec::new(),
            base: 0,
            kept,
            settled: Vec::new(),
            end: (0, 0),
            score: f64::NEG_INFINITY,
        }
    }

    /// Goes on to the next frame: finds the best beat before one of each length that begins there. Near its start
    /// nothing need go before, which costs nothing.
    #[inline(always)]
    pub(super) fn reach<S: Simd>(&mut self, simd: S, frame: usize, prices: &Prices) {
        let least = if frame <= self.first {
            0.0
        } else {
            f32::NEG_INFINITY
        };
        self.slot = frame % self.ring;
        let at = self.slot * self.row;
        let ended = &mut self.ended[at..at + self.row];
        let mut chosen = [0.0f32; LANES];
        for (block, to) in self.best.as_chunks_mut::<LANES>().0.iter_mut().enumerate() {
            let vectors = S::as_mut_simd_f32s(to).0.iter_mut();
            let chosen_vectors = S::as_mut_simd_f32s(&mut chosen).0.iter_mut();
            for (number, (to, chosen)) in vectors.zip(chosen_vectors).enumerate() {
                let at = block * LANES + number * S::F32_LANES;
                let (mut best, mut from) = (simd.splat_f32s(least), simd.splat_f32s(f32::from(NOTHING)));
                // The longest first: of two that are as good, the one that began first counts.
                for near in (0..NEAR).rev() {
                    let before = S::as_simd_f32s(&ended[at + near..]).0.first();
                    let price = S::as_simd_f32s(&prices[near][at..]).0.first();
                    let (Some(before), Some(price)) = (before, price) else {
                        continue;
                    };
                    let arrived = simd.sub_f32s(*before, *price);
                    let better = simd.greater_than_f32s(arrived, best);
                    best = simd.max_f32s(arrived, best);
                    from = simd.select_f32s(better, simd.splat_f32s(near as f32), from);
                }
                (*to, *chosen) = (best, from);
            }
            self.from.extend(chosen.map(|near| near as u8));
        }
        ended.fill(f32::NEG_INFINITY);
    }

    /// The best score of what leads to a beat of each length at the frame that was reached last.
    #[inline(always)]
    pub(super) fn arrived(&self, length: usize) -> f32 {
        self.best[length]
    }

    /// A row of beats may end with this one.
    #[inline(always)]
    pub(super) fn ends(&mut self, frame: usize, length: usize, score: f64) {
        if score > self.score {
            (self.end, self.score) = ((frame, length), score);
        }
    }

    /// Enters a beat of every length that begins at the frame that was reached last; `scores` are their own. What
    /// nothing leads to stays so.
    #[inline(always)]
    pub(super) fn go_on(&mut self, scores: &[f64]) {
        let mut so_far = self.best.iter().zip(scores).take(self.count);
        let ends = self.slot + self.shortest;
        // Of the lengths that end within the ring, and then of those that come round to its beginning.
        let within = self.ring.saturating_sub(ends).min(self.count);
        for (first, slot, count) in [
            (0, ends, within),
            (
                within,
                (ends + within).saturating_sub(self.ring),
                self.count - within,
            ),
        ] {
            let from = (slot * self.row + REACH + first).min(self.ended.len());
            let places = self.ended[from..].iter_mut().step_by(self.row + 1);
            for (place, (before, own)) in places.zip(so_far.by_ref().take(count)) {
                *place = (f64::from(*before) + own) as f32;
            }
        }
    }

    /// The same of one length.
    #[inline(always)]
    pub(super) fn go_on_by(&mut self, length: usize, score: f64) {
        let ends = self.slot + self.shortest + length;
        let slot = if ends < self.ring { ends } else { ends - self.ring };
        self.ended[slot * self.row + REACH + length] = score as f32;
    }

    #[inline(always)]
    fn place(&self, frame: usize, length: usize) -> usize {
        frame % self.ring * self.row + REACH + length
    }

    /// Settles the beats that lie far before `frame`, from which on beats may still begin.
    pub(super) fn settle(&mut self, frame: usize) {
        if frame - self.base < self.kept {
            return;
        }
        let border = self.base + self.kept / 2;
        let open: Vec<(usize, usize)> = (frame..frame + self.ring)
            .flat_map(|f| (0..self.count).map(move |length| (f, length)))
            .filter(|(f, length)| self.ended[self.place(*f, *length)] > f32::NEG_INFINITY)
            .collect();
        let score = |(f, length): (usize, usize)| self.ended[self.place(f, length)];
        let Some(top) = open.iter().max_by(|a, b| score(**a).total_cmp(&score(**b))) else {
            return;
        };
        let way: Vec<(usize, usize)> = self.way(self.beat(*top), border).collect();
        let Some(through) = way.last().copied() else {
            return;
        };
        // Nearly all ways join that of the best one after a few beats.
        let joins = |other: &(usize, usize)| {
            let mut way = way.iter().peekable();
            self.way(self.beat(*other), border).any(|beat| {
                while way.next_if(|known| known.0 > beat.0).is_some() {}
                way.peek().is_some_and(|known| **known == beat)
            })
        };
        let others: Vec<(usize, usize)> = open.iter().copied().filter(|other| !joins(other)).collect();
        for (f, length) in others {
            let place = self.place(f, length);
            self.ended[place] = f32::NEG_INFINITY;
        }
        let beats = self.frames(through);
        self.settled.extend(beats);
        self.from.drain(..(border - self.base) * self.best.len());
        self.base = border;
    }

    /// The beat of length number `length` that ends at `frame`.
    fn beat(&self, (frame, length): (usize, usize)) -> (usize, usize) {
        (frame - self.shortest - length, length)
    }

    /// The beat before one; `None` for the first, and where it is settled already.
    fn step(&self, (frame, length): (usize, usize)) -> Option<(usize, usize)> {
        let row = frame.checked_sub(self.base)? * self.best.len();
        let near = *self.from.get(row + length)?;
        let before = (length + usize::from(near)).checked_sub(REACH)?;
        (near != NOTHING).then(|| (frame - self.shortest - before, before))
    }

    /// A beat and those before it, to the last that begins before `border`.
    fn way(&self, beat: (usize, usize), border: usize) -> impl Iterator<Item = (usize, usize)> {
        std::iter::successors(Some(beat), move |here| {
            self.step(*here).filter(|_| here.0 >= border)
        })
    }

    /// The beats from where they are settled to this one.
    fn frames(&self, last: (usize, usize)) -> Vec<usize> {
        let way = std::iter::successors(Some(last), |at| self.step(*at));
        let mut frames: Vec<usize> = way.map(|(frame, _)| frame).filter(|f| *f >= self.base).collect();
        frames.reverse();
        frames
    }

    /// The frames of all beats, with the one at which the last ends, and the score.
    pub(super) fn finish(self) -> (Vec<usize>, f64) {
        let (frame, length) = self.end;
        let last = self.frames(self.end);
        let beats = [self.settled, last, vec![frame + self.shortest + length]].concat();
        (beats, self.score)
    }
}
