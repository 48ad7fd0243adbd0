//! The way to the best beats while it is being found: for each beat that may begin at a frame with some length, the best
//! score and the length of the beat before it.
//!
//! A Viterbi search remembers where it came from until it ends. Over hours that is much, so after some time the beats
//! that lie far behind are settled: the way that is best so far is taken, and those that do not pass through it are
//! given up. Long before, all ways that are worth following have become one.

/// The way that is being found with one way to hold the tempo.
pub(super) struct Way {
    /// Frames of the shortest beat, and how many lengths there are.
    shortest: usize,
    count: usize,
    /// Best score of a beat that begins at a frame (modulo the ring) with a length; in rows of so many lengths and
    /// [`REACH`] more on either side, which no beat has. A beat ends within the ring.
    best: Vec<f32>,
    row: usize,
    /// The last frame at which a row of beats may begin with nothing before.
    first: usize,
    ring: usize,
    /// The number of the length of the beat before it, for frames from `base` on.
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

/// The lengths that may follow one, and one more, so that they fill a vector.
const NEXT: usize = 2 * REACH + 2;

/// For each length, the prices of going on to those from [`REACH`] shorter to as much longer.
pub(super) type Prices = Vec<[f32; NEXT]>;

/// The prices of going from each of `count` lengths to those near it.
pub(super) fn prices(count: usize, price: impl Fn(usize, usize) -> f64) -> Prices {
    let near = |from: usize| {
        std::array::from_fn(|n| {
            let to = (from + n)
                .checked_sub(REACH)
                .filter(|to| *to < count && n <= 2 * REACH);
            to.map_or(f32::INFINITY, |to| price(from, to) as f32)
        })
    };
    (0..count).map(near).collect()
}

impl Way {
    /// Of beats of `count` lengths, `shortest` frames and more, the first of which begins at frame `first` or before.
    pub(super) fn new(shortest: usize, count: usize, first: usize, kept: usize) -> Way {
        let (ring, row) = (shortest + count, count + NEXT);
        let mut way = Way {
            shortest,
            count,
            best: vec![f32::NEG_INFINITY; ring * row],
            row,
            first,
            ring,
            from: Vec::new(),
            base: 0,
            kept,
            settled: Vec::new(),
            end: (0, 0),
            score: f64::NEG_INFINITY,
        };
        (0..ring).for_each(|frame| way.open(frame));
        way
    }

    /// Makes room for the beats that begin at `frame`: with nothing before them they cost nothing.
    fn open(&mut self, frame: usize) {
        let least = if frame <= self.first {
            0.0
        } else {
            f32::NEG_INFINITY
        };
        let at = frame % self.ring * self.row;
        self.best[at..at + self.row].fill(least);
    }

    /// The best score of what leads to a beat at `frame`.
    pub(super) fn arrived(&self, frame: usize, length: usize) -> f32 {
        self.best[self.place((frame, length))]
    }

    /// No beat begins at `frame` any more.
    pub(super) fn pass(&mut self, frame: usize) {
        self.open(frame + self.ring);
    }

    /// A row of beats may end with this one.
    pub(super) fn ends(&mut self, frame: usize, length: usize, score: f64) {
        if score > self.score {
            (self.end, self.score) = ((frame, length), score);
        }
    }

    /// Enters the beats that may follow at frame `next` after one of length number `length`.
    pub(super) fn go_on(&mut self, length: usize, next: usize, score: f64, prices: &[f32; NEXT]) {
        let row = (next - self.base) * self.row + length;
        if self.from.len() < row + self.row {
            self.from.resize(row + self.row, NOTHING);
        }
        let place = next % self.ring * self.row + length;
        let best = self.best[place..].first_chunk_mut::<NEXT>();
        let from = self.from[row..].first_chunk_mut::<NEXT>();
        let (Some(best), Some(from)) = (best, from) else {
            return;
        };
        // Without a branch, so that all that may follow are entered in a few instructions.
        for ((best, from), price) in best.iter_mut().zip(from).zip(prices) {
            let arrived = score as f32 - price;
            let better = arrived > *best;
            *best = if better { arrived } else { *best };
            *from = if better { length as u8 } else { *from };
        }
    }

    /// Settles the beats that lie far before `frame`, from which on beats may still begin.
    pub(super) fn settle(&mut self, frame: usize) {
        if frame - self.base < self.kept {
            return;
        }
        let border = self.base + self.kept / 2;
        let open: Vec<(usize, usize)> = (frame..frame + self.ring)
            .flat_map(|f| (0..self.count).map(move |length| (f, length)))
            .filter(|at| self.best[self.place(*at)] > f32::NEG_INFINITY)
            .collect();
        let top = open
            .iter()
            .max_by(|a, b| self.best[self.place(**a)].total_cmp(&self.best[self.place(**b)]));
        let Some(through) = top.map(|top| self.before(*top, border)) else {
            return;
        };
        for other in &open {
            if self.before(*other, border) != through {
                let place = self.place(*other);
                self.best[place] = f32::NEG_INFINITY;
            }
        }
        let beats = self.frames(through);
        self.settled.extend(beats);
        self.from.drain(..(border - self.base) * self.row);
        self.base = border;
    }

    fn place(&self, (frame, length): (usize, usize)) -> usize {
        frame % self.ring * self.row + REACH + length
    }

    /// The beat before one; `None` for the first, and where it is settled already.
    fn step(&self, (frame, length): (usize, usize)) -> Option<(usize, usize)> {
        let row = frame.checked_sub(self.base)? * self.row;
        let before = *self.from.get(row + REACH + length)?;
        (before != NOTHING).then(|| (frame - self.shortest - usize::from(before), usize::from(before)))
    }

    /// The last beat that begins before `border` on the way to another.
    fn before(&self, at: (usize, usize), border: usize) -> (usize, usize) {
        let mut here = at;
        while let Some(before) = self.step(here).filter(|_| here.0 >= border) {
            here = before;
        }
        here
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
