//! Strokes for one pair of limbs -> who plays which, at the least cost over all of them: an exact shortest path.
//!
//! In: [`Moment`]s, each with the strokes struck at once and what each limb of the pair would pay for each. A state is
//! where either limb struck last; one that has rested is the same whatever it did before, which keeps the states few.
//! Out: the cheapest path and, for every stroke, what the cheapest path costs in which the other limb plays it
//! (min-marginals: forward and backward costs, [P: A. Viterbi, IEEE Transactions on Information Theory 13, 1967]
//! for the path).

use super::costs::{self, CROSSED, CROSSED_BY, NOBODY, Pace, RESTED, moving, not_alternating, travel};

/// One stroke at a moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Need {
    /// Which hit it is.
    pub(super) hit: usize,
    /// Where it stands (m).
    pub(super) at: (f64, f64),
    /// What each limb of the pair pays for it; infinite where it may not.
    pub(super) cost: [f64; 2],
}

/// What is struck at once.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Moment {
    /// When (s).
    pub(super) time: f64,
    /// What.
    pub(super) needs: Vec<Need>,
}

/// What the limbs of a pair have in common.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Pair {
    /// How fast they are.
    pub(super) pace: Pace,
    /// Whether they move between places and can cross; the second is the one on the left.
    pub(super) moves: bool,
    /// Whether the line may go to either of them: one that has a single hand has nothing to choose, and only what
    /// strains it counts.
    pub(super) chooses: bool,
}

impl Pair {
    /// What a limb pays that struck `gap` seconds ago at `from` and strikes now at `to`, as stroke number `run` in a
    /// row; 1 where the other limb struck between, or strikes with it.
    pub(super) fn next(self, gap: f64, run: usize, from: Option<(f64, f64)>, to: (f64, f64)) -> f64 {
        let mut cost = 0.0;
        if run > 1 {
            cost += self.pace.again(gap, run);
            cost += if self.chooses { not_alternating(gap) } else { 0.0 };
        } else if gap < self.pace.fastest() {
            cost += self.pace.again(gap, 2);
        }
        if let Some(from) = from.filter(|_| self.moves) {
            let distance = (to.0 - from.0).hypot(to.1 - from.1);
            cost += travel(distance, gap);
            cost += if self.chooses { moving(distance, gap) } else { 0.0 };
        }
        cost
    }
}

/// Who plays what.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Path {
    /// What it costs.
    pub(super) cost: f64,
    /// For each stroke of each moment, in order: 0 or 1 for the limb, `None` where nobody can.
    pub(super) limbs: Vec<Option<usize>>,
    /// What is paid at each moment.
    pub(super) paid: Vec<f64>,
    /// For each stroke: how much more the best path costs in which limb 0, limb 1, plays it.
    pub(super) more: Vec<[f64; 2]>,
}

/// A stroke that a limb has not forgotten: at which moment, and which of its strokes.
type Last = Option<(u32, u8)>;

/// Which stroke of the moment each limb plays.
type Choice = [Option<u8>; 2];

#[derive(Debug, Clone, Copy, PartialEq)]
struct Edge {
    from: u32,
    to: u32,
    choice: u16,
    cost: f64,
}

/// One moment of the trellis.
struct Layer {
    states: Vec<[Last; 2]>,
    cost: Vec<f64>,
    edges: Vec<Edge>,
    choices: Vec<Choice>,
}

/// The moments and the pair that plays them.
#[derive(Debug, Clone)]
pub(super) struct Chain<'a> {
    /// By time.
    moments: &'a [Moment],
    pair: Pair,
    /// For each moment, and for the end, the first one before it that a limb has not forgotten by then.
    awake: Vec<usize>,
}

impl<'a> Chain<'a> {
    /// The chain of these moments, which must be sorted by time.
    pub(super) fn new(moments: &'a [Moment], pair: Pair) -> Chain<'a> {
        let mut awake = Vec::with_capacity(moments.len() + 1);
        let mut first = 0;
        for (now, moment) in moments.iter().enumerate() {
            while first < now
                && moments
                    .get(first)
                    .is_some_and(|old| moment.time - old.time >= RESTED)
            {
                first += 1;
            }
            awake.push(first);
        }
        awake.push(first);
        Chain { moments, pair, awake }
    }

    /// The cheapest path. Without `margins` only the path and its cost.
    pub(super) fn solve(&self, margins: bool) -> Path {
        let mut layers: Vec<Layer> = Vec::with_capacity(self.moments.len());
        let (mut states, mut cost) = (vec![[None; 2]], vec![0.0]);
        for now in 0..self.moments.len() {
            let layer = self.step(now, &states, &cost, margins);
            (states, cost) = (layer.states.clone(), layer.cost.clone());
            layers.push(layer);
        }
        let mut path = self.trace(&layers);
        if margins {
            path.more = self.margins(&layers, path.cost);
            path.paid = self.replay(&path.limbs);
        }
        path
    }

    /// One moment further from these states.
    fn step(&self, now: usize, states: &[[Last; 2]], cost: &[f64], all: bool) -> Layer {
        let choices = self.choices(now);
        let mut next = Layer {
            states: Vec::new(),
            cost: Vec::new(),
            edges: Vec::new(),
            choices,
        };
        let mut best: Vec<usize> = Vec::new();
        for (from, (state, before)) in states.iter().zip(cost).enumerate() {
            for (number, choice) in next.choices.iter().enumerate() {
                let price = self.price(now, *state, *choice);
                let total = before + price;
                let reached = self.after(now, *state, *choice);
                let to = next
                    .states
                    .iter()
                    .position(|s| *s == reached)
                    .unwrap_or(next.states.len());
                let edge = Edge {
                    from: from as u32,
                    to: to as u32,
                    choice: number as u16,
                    cost: price,
                };
                if to == next.states.len() {
                    next.states.push(reached);
                    next.cost.push(total);
                    best.push(next.edges.len());
                    next.edges.push(edge);
                } else if total < next.cost[to] {
                    next.cost[to] = total;
                    if all {
                        best[to] = next.edges.len();
                        next.edges.push(edge);
                    } else {
                        next.edges[best[to]] = edge;
                    }
                } else if all {
                    next.edges.push(edge);
                }
            }
        }
        next
    }

    /// Every way to share the moment's strokes out. A stroke is left to nobody only where no limb is left for it.
    fn choices(&self, now: usize) -> Vec<Choice> {
        let needs = self.needs(now);
        let may = |limb: usize| {
            let can = (0..needs.len().min(255)).filter(move |n| needs[*n].cost[limb].is_finite());
            std::iter::once(None).chain(can.map(|n| Some(n as u8)))
        };
        let all = may(0).flat_map(|a| may(1).map(move |b| [a, b]));
        let mut choices: Vec<Choice> = all.filter(|[a, b]| a.is_none() || a != b).collect();
        let played = |choice: &Choice| choice.iter().flatten().count();
        let most = choices.iter().map(played).max().unwrap_or(0);
        choices.retain(|choice| played(choice) == most);
        choices
    }

    fn needs(&self, now: usize) -> &[Need] {
        self.moments.get(now).map_or(&[], |moment| &moment.needs)
    }

    /// What a choice costs after these last strokes. This is the whole cost model of a pair.
    fn price(&self, now: usize, state: [Last; 2], choice: Choice) -> f64 {
        let needs = self.needs(now);
        let played = choice.iter().flatten().count();
        let mut cost = (needs.len() - played) as f64 * NOBODY;
        let place = |n: u8| needs.get(usize::from(n)).map(|need| need.at);
        for (limb, plays) in choice.iter().enumerate() {
            let Some(need) = plays.and_then(|n| needs.get(usize::from(n))) else {
                continue;
            };
            cost += need.cost[limb];
            let other = state[1 - limb].filter(|last| !self.rested(*last, now));
            if let Some(last) = state[limb].filter(|last| !self.rested(*last, now)) {
                let gap = self.time(now) - self.time(last.0 as usize);
                let alone = other.is_none_or(|other| other.0 < last.0) && choice[1 - limb].is_none();
                let run = if alone { self.run(now, other) } else { 1 };
                cost += self.pair.next(gap, run, self.place(last), need.at);
            }
            if self.pair.moves {
                let other_at = choice[1 - limb]
                    .and_then(place)
                    .or_else(|| other.and_then(|o| self.place(o)));
                let over = other_at.map_or(0.0, |at| {
                    if limb == 0 {
                        at.0 - need.at.0
                    } else {
                        need.at.0 - at.0
                    }
                });
                if over > CROSSED_BY {
                    cost += CROSSED;
                }
            }
        }
        cost
    }

    /// How many strokes in a row it makes, when the other limb struck last at `other`.
    fn run(&self, now: usize, other: Last) -> usize {
        let first = other
            .map_or(0, |other| other.0 as usize + 1)
            .max(self.first_awake(now));
        now.saturating_sub(first).min(4) + 1
    }

    fn first_awake(&self, now: usize) -> usize {
        self.awake.get(now).copied().unwrap_or(0)
    }

    fn time(&self, at: usize) -> f64 {
        self.moments.get(at).map_or(0.0, |moment| moment.time)
    }

    fn place(&self, last: (u32, u8)) -> Option<(f64, f64)> {
        Some(self.needs(last.0 as usize).get(usize::from(last.1))?.at)
    }

    fn rested(&self, last: (u32, u8), now: usize) -> bool {
        (last.0 as usize) < self.first_awake(now)
    }

    /// The last strokes after a choice; those that the next moment will have forgotten are left out.
    fn after(&self, now: usize, state: [Last; 2], choice: Choice) -> [Last; 2] {
        let keep = |limb: usize| {
            let last = choice[limb].map(|n| (now as u32, n)).or(state[limb])?;
            (!self.rested(last, now + 1)).then_some(last)
        };
        [keep(0), keep(1)]
    }

    fn trace(&self, layers: &[Layer]) -> Path {
        let cheapest = |cost: &[f64]| {
            let order = |a: &usize, b: &usize| cost[*a].total_cmp(&cost[*b]);
            (0..cost.len()).min_by(order).unwrap_or(0)
        };
        let Some(last) = layers.last() else {
            return Path::default();
        };
        let mut state = cheapest(&last.cost);
        let cost = last.cost.get(state).copied().unwrap_or(0.0);
        let mut backwards: Vec<Vec<Option<usize>>> = Vec::with_capacity(layers.len());
        for (now, layer) in layers.iter().enumerate().rev() {
            let mut limbs = vec![None; self.needs(now).len()];
            let before = |edge: &Edge| match now {
                0 => 0.0,
                _ => layers[now - 1].cost[edge.from as usize],
            };
            let into = layer.edges.iter().filter(|edge| edge.to as usize == state);
            let Some(edge) = into.min_by(|a, b| (before(a) + a.cost).total_cmp(&(before(b) + b.cost))) else {
                return Path::default();
            };
            for (limb, plays) in layer.choices[usize::from(edge.choice)].iter().enumerate() {
                if let Some(slot) = plays.and_then(|n| limbs.get_mut(usize::from(n))) {
                    *slot = Some(limb);
                }
            }
            state = edge.from as usize;
            backwards.push(limbs);
        }
        Path {
            cost,
            limbs: backwards.into_iter().rev().flatten().collect(),
            ..Path::default()
        }
    }

    /// What these limbs pay at each moment.
    pub(super) fn replay(&self, limbs: &[Option<usize>]) -> Vec<f64> {
        let mut limbs = limbs.iter();
        let mut state = [None; 2];
        let pay = |now: usize| {
            let mut choice: Choice = [None; 2];
            for (n, limb) in limbs.by_ref().take(self.needs(now).len()).enumerate() {
                if let Some(slot) = limb.and_then(|limb| choice.get_mut(limb)) {
                    *slot = Some(n as u8);
                }
            }
            let price = self.price(now, state, choice);
            state = self.after(now, state, choice);
            price
        };
        (0..self.moments.len()).map(pay).collect()
    }

    fn margins(&self, layers: &[Layer], best: f64) -> Vec<[f64; 2]> {
        let mut behind: Vec<f64> = layers
            .last()
            .map_or_else(Vec::new, |layer| vec![0.0; layer.states.len()]);
        let mut backwards: Vec<Vec<[f64; 2]>> = Vec::with_capacity(layers.len());
        for (now, layer) in layers.iter().enumerate().rev() {
            let mut more = vec![[f64::INFINITY; 2]; self.needs(now).len()];
            let start = [0.0];
            let ahead: &[f64] = if now == 0 { &start } else { &layers[now - 1].cost };
            let mut earlier = vec![f64::INFINITY; ahead.len()];
            for edge in &layer.edges {
                let rest = edge.cost + behind[edge.to as usize];
                let from = edge.from as usize;
                earlier[from] = earlier[from].min(rest);
                let over = (ahead[from] + rest - best).max(0.0);
                for (limb, plays) in layer.choices[usize::from(edge.choice)].iter().enumerate() {
                    if let Some(slot) = plays.and_then(|n| more.get_mut(usize::from(n))) {
                        slot[limb] = slot[limb].min(over);
                    }
                }
            }
            behind = earlier;
            backwards.push(more);
        }
        backwards.into_iter().rev().flatten().collect()
    }
}

/// The pair of hands.
pub(super) const HANDS: Pair = Pair {
    pace: costs::HAND,
    moves: true,
    chooses: true,
};

/// The pair of feet; what a foot plays is its own pedal.
pub(super) const FEET: Pair = Pair {
    pace: costs::FOOT,
    moves: false,
    chooses: true,
};

#[cfg(test)]
mod tests {
    use rand::prelude::*;
    use rand_chacha::ChaCha8Rng;

    use super::*;

    /// Every way to share out every moment, one after the other: the obvious way.
    fn cheapest_of_all(chain: &Chain, now: usize, state: [Last; 2], so_far: f64, best: &mut f64) {
        if now == chain.moments.len() {
            *best = best.min(so_far);
            return;
        }
        for choice in chain.choices(now) {
            let after = |limb: usize| choice[limb].map(|n: u8| (now as u32, n)).or(state[limb]);
            let cost = so_far + chain.price(now, state, choice);
            cheapest_of_all(chain, now + 1, [after(0), after(1)], cost, best);
        }
    }

    /// Up to ten strokes over five places, some at once, at gaps from impossible to rested.
    fn line(random: &mut ChaCha8Rng) -> Vec<Moment> {
        let places = [(-0.4, 0.4), (-0.05, 0.3), (0.2, 0.6), (0.6, 0.25), (0.6, 0.55)];
        let mut time = 0.0;
        let (mut left, mut hit) = (random.random_range(1..=10), 0);
        let mut moments = Vec::new();
        while left > 0 {
            let at_once = *[1, 1, 1, 2, 3].choose(random).unwrap();
            let needs = (0..at_once.min(left))
                .map(|_| {
                    hit += 1;
                    let mut cost = [random.random_range(0.0..3.0), random.random_range(0.0..3.0)];
                    if random.random_bool(0.15) {
                        cost[random.random_range(0..2)] = f64::INFINITY;
                    }
                    Need {
                        hit: hit - 1,
                        at: *places.choose(random).unwrap(),
                        cost,
                    }
                })
                .collect::<Vec<Need>>();
            left -= needs.len().min(left);
            moments.push(Moment { time, needs });
            time += random.random_range(0.03..0.35) * if random.random_bool(0.1) { 3.0 } else { 1.0 };
        }
        moments
    }

    #[test]
    fn the_path_costs_what_an_exhaustive_search_finds_and_what_its_limbs_cost() {
        let mut random = ChaCha8Rng::seed_from_u64(61);
        for number in 0..300 {
            let moments = line(&mut random);
            for pair in [HANDS, FEET] {
                let chain = Chain::new(&moments, pair);
                let path = chain.solve(true);
                let mut best = f64::INFINITY;
                cheapest_of_all(&chain, 0, [None; 2], 0.0, &mut best);
                assert!(
                    (path.cost - best).abs() < 1e-9,
                    "line {number}, seed 61: {} {best}",
                    path.cost
                );
                assert!(
                    (chain.replay(&path.limbs).iter().sum::<f64>() - best).abs() < 1e-9,
                    "line {number}, seed 61"
                );
            }
        }
    }

    #[test]
    fn a_margin_is_what_forcing_the_other_limb_costs() {
        let mut random = ChaCha8Rng::seed_from_u64(62);
        for number in 0..60 {
            let moments = line(&mut random);
            let chain = Chain::new(&moments, HANDS);
            let path = chain.solve(true);
            for (at, more) in path.more.iter().enumerate() {
                for (limb, &more) in more.iter().enumerate() {
                    let mut forced = moments.clone();
                    let need = forced.iter_mut().flat_map(|m| &mut m.needs).nth(at).unwrap();
                    // As if the others and nobody were much dearer.
                    need.cost[1 - limb] += 1000.0;
                    need.cost[limb] -= 1000.0;
                    let other = Chain::new(&forced, HANDS).solve(false).cost + 1000.0 - path.cost;
                    let same = (other - more).abs() < 1e-6 || (more.is_infinite() && other > 900.0);
                    assert!(same, "line {number}, stroke {at}, seed 62: {other} {more}");
                }
            }
        }
    }
}
