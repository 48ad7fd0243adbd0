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
    /// Best score of a beat that begins at a frame (modulo the ring) with a length. A beat ends within the ring.
    best: Vec<f32>,
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

impl Way {
    /// Of beats of `count` lengths, `shortest` frames and more.
    pub(super) fn new(shortest: usize, count: usize, kept: usize) -> Way {
        let ring = shortest + count;
        Way {
            shortest,
            count,
            best: vec![f32::NEG_INFINITY; ring * count],
            ring,
            from: Vec::new(),
            base: 0,
            kept,
            settled: Vec::new(),
            end: (0, 0),
            score: f64::NEG_INFINITY,
        }
    }

    /// The best score of what leads to a beat at `frame`, which is then forgotten.
    pub(super) fn arrived(&mut self, frame: usize, length: usize) -> f32 {
        let place = frame % self.ring * self.count + length;
        std::mem::replace(&mut self.best[place], f32::NEG_INFINITY)
    }

    /// A row of beats may end with this one.
    pub(super) fn ends(&mut self, frame: usize, length: usize, score: f64) {
        if score > self.score {
            (self.end, self.score) = ((frame, length), score);
        }
    }

    /// Enters the beats that may follow at frame `next` after one of length number `length`; what begins there costs no
    /// less than `least` gains.
    pub(super) fn go_on(&mut self, length: usize, next: usize, score: f64, price: &[f64], least: f32) {
        let rows = (next + 1 - self.base) * self.count;
        if self.from.len() < rows {
            self.from.resize(rows, NOTHING);
        }
        let (row, place) = ((next - self.base) * self.count, next % self.ring * self.count);
        // A beat differs from the one before by some 6 % at most.
        for after in length.saturating_sub(3)..(length + 4).min(self.count) {
            let arrived = (score - price[after]) as f32;
            if arrived > self.best[place + after].max(least) {
                self.best[place + after] = arrived;
                self.from[row + after] = length as u8;
            }
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
        self.from.drain(..(border - self.base) * self.count);
        self.base = border;
    }

    fn place(&self, (frame, length): (usize, usize)) -> usize {
        frame % self.ring * self.count + length
    }

    /// The beat before one; `None` for the first, and where it is settled already.
    fn step(&self, (frame, length): (usize, usize)) -> Option<(usize, usize)> {
        let row = frame.checked_sub(self.base)? * self.count;
        let before = *self.from.get(row + length)?;
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
