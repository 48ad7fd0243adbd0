//! Hits -> limbs: a shortest path for the hands and one for the feet, under every way to share out the work.
//!
//! A way says which hand keeps up which voice of the figure, and whether the free line has both hands or one: such
//! things hold for the whole solo, so each way is tried on all of it and the cheapest wins. The figure's limbs are
//! taken out first: to use them for the free line costs [`BUSY`].

use rayon::prelude::*;

use super::body::Body;
use super::chain::{Chain, FEET, HANDS, Moment, Need, Pair, Path};
use super::costs::{BUSY, CHOICE, NOT_A_SIDE, NOT_LEADING, OTHER_HAND, OTHER_STICKING, REACH_OVER};
use super::frame::Frame;
use super::{Hands, Keeps, Played};
use crate::names::{Limb, Voice};

/// Strokes without a step closer than this (s) are struck together, as on the grid.
const TOGETHER: f64 = 0.025;
/// More ways than this are not tried: the voices of the figure that strike least then go with the hand that leads.
const MOST_WAYS: usize = 64;
/// The free line may have one hand only where at least this share of it is the feet's [M].
const FEET_IN_A_SIDE: f64 = 0.33;
/// And only where its strokes come this fast (s), half of them at least [M]: else both hands have time for all of it.
const DENSE: f64 = 0.2;
/// A stroke of the figure by the other hand: a voice of it may be wrong, or borrowed.
const NOT_THE_FIGURES: f64 = 8.0;

/// One way to share out the work.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Way {
    /// Who keeps up the figures.
    pub(super) figure: Vec<Keeps>,
    /// Which hands the free line has.
    pub(super) hands: Hands,
    /// Bits.
    pub(super) cost: f64,
}

/// Who plays what.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Shared {
    /// The limb of each hit; `None` where nobody can play it.
    pub(super) limbs: Vec<Option<Limb>>,
    /// For each hit and each limb, in the order of [`Limb::ALL`]: how much more the best account costs in which that
    /// limb plays it; infinite where it may not.
    pub(super) more: Vec<[f64; 4]>,
    /// For each hit and each limb: what the stroke costs it, whatever was played before it, and elsewhere.
    pub(super) own: Vec<[f64; 4]>,
    /// For each hit: what the whole account pays for it, but for what other places say.
    pub(super) paid: Vec<f64>,
    /// The ways, cheapest first.
    pub(super) ways: Vec<Way>,
}

/// The hits and all that is known of them.
#[derive(Debug, Clone, Copy)]
pub(super) struct Work<'a> {
    pub(super) hits: &'a [Played],
    pub(super) frames: &'a [Frame],
    pub(super) body: &'a Body,
    /// The limbs that the player named, or that follow from those.
    pub(super) pinned: &'a [Option<Limb>],
    /// The limb that plays this place of a cell elsewhere.
    pub(super) expected: &'a [Option<Limb>],
}

/// A stroke whose limb is to be looked up where nobody said anything.
pub(super) const NOBODY_SAID: &[Option<Limb>] = &[];

pub(super) fn is_foot(limb: Limb) -> bool {
    matches!(limb, Limb::RightFoot | Limb::LeftFoot)
}

pub(super) fn same_side(a: Limb, b: Limb) -> bool {
    let right = |limb| matches!(limb, Limb::RightHand | Limb::RightFoot);
    right(a) == right(b)
}

const TWO_HANDS: [Limb; 2] = [Limb::RightHand, Limb::LeftHand];
const TWO_FEET: [Limb; 2] = [Limb::RightFoot, Limb::LeftFoot];

/// The pair of hands as they play the free line in this way.
pub(super) fn hands(way: &Way) -> Pair {
    Pair {
        chooses: way.hands == Hands::Both,
        ..HANDS
    }
}

impl Work<'_> {
    /// Shares the hits out in the cheapest way.
    pub(super) fn share(&self) -> Shared {
        let mut ways: Vec<Way> = self.ways();
        ways.par_iter_mut().for_each(|way| {
            let moments = self.moments(false, way);
            let chain = Chain::new(&moments, hands(way));
            way.cost = chain.solve(false).cost + self.habit(way);
        });
        ways.sort_by(|a, b| a.cost.total_cmp(&b.cost));
        self.share_so(ways)
    }

    /// Shares the hits out in the first of these ways.
    pub(super) fn share_so(&self, ways: Vec<Way>) -> Shared {
        let mut shared = Shared {
            limbs: vec![None; self.hits.len()],
            more: vec![[f64::INFINITY; 4]; self.hits.len()],
            own: vec![[f64::INFINITY; 4]; self.hits.len()],
            paid: vec![0.0; self.hits.len()],
            ways,
        };
        if let Some(way) = shared.ways.first().cloned() {
            self.solve(hands(&way), TWO_HANDS, &way, &mut shared);
            self.solve(FEET, TWO_FEET, &way, &mut shared);
        }
        shared
    }

    fn solve(&self, pair: Pair, limbs: [Limb; 2], way: &Way, shared: &mut Shared) {
        let moments = self.moments(is_foot(limbs[0]), way);
        let chain = Chain::new(&moments, pair);
        let Path {
            limbs: played,
            more,
            paid,
            ..
        } = chain.solve(true);
        let needs = moments.iter().flat_map(|moment| &moment.needs);
        let mut plays = played.iter();
        for (moment, paid) in moments.iter().zip(paid) {
            let own = moment.needs.iter().zip(plays.by_ref());
            let elsewhere = own.filter_map(|(need, plays)| {
                let limb = limbs.get((*plays)?)?;
                Some(self.elsewhere(need.hit, *limb))
            });
            let elsewhere: f64 = elsewhere.sum();
            // What is struck at once is paid at once.
            if let Some(slot) = moment
                .needs
                .first()
                .and_then(|need| shared.paid.get_mut(need.hit))
            {
                *slot = paid - elsewhere;
            }
        }
        for ((need, plays), over) in needs.zip(played).zip(more) {
            if let Some(slot) = shared.limbs.get_mut(need.hit) {
                *slot = plays.and_then(|n| limbs.get(n)).copied();
            }
            if let Some(slot) = shared.more.get_mut(need.hit) {
                for (limb, over) in limbs.iter().zip(over) {
                    slot[*limb as usize] = over;
                }
            }
            if let Some(slot) = shared.own.get_mut(need.hit) {
                for (limb, cost) in limbs.iter().zip(need.cost) {
                    slot[*limb as usize] = cost - self.elsewhere(need.hit, *limb);
                }
            }
        }
    }

    /// Every way to share out the work, not yet priced.
    fn ways(&self) -> Vec<Way> {
        let mut ways = vec![Way::default()];
        for (figure, voice) in self.hand_voices() {
            let options = self.body.limbs(voice).list();
            let full = ways.len() * (options.len() + 1) > MOST_WAYS;
            let keeps = |way: &Way, limb: Option<Limb>| {
                let mut way = way.clone();
                way.figure.push(Keeps { figure, voice, limb });
                way
            };
            let options: Vec<Option<Limb>> = match full {
                true => vec![self.body.reach(voice).lead.or(options.first().copied())],
                false => options.into_iter().map(Some).chain([None]).collect(),
            };
            ways = ways
                .iter()
                .flat_map(|way| options.iter().map(|limb| keeps(way, *limb)))
                .collect();
        }
        if self.may_be_a_side() {
            let hands = [Hands::Both, Hands::Right, Hands::Left];
            let with = |way: &Way, hands: Hands| Way { hands, ..way.clone() };
            ways = ways
                .iter()
                .flat_map(|way| hands.map(|hands| with(way, hands)))
                .collect();
        }
        ways
    }

    /// The voices that hands play in each figure, those that strike most first.
    fn hand_voices(&self) -> Vec<(usize, Voice)> {
        let mut counts: Vec<((usize, Voice), usize)> = Vec::new();
        for hit in self.hits {
            let Some(figure) = hit.figure.filter(|_| !self.feet_play(hit.voice)) else {
                continue;
            };
            match counts.iter_mut().find(|(key, _)| *key == (figure, hit.voice)) {
                Some((_, count)) => *count += 1,
                None => counts.push(((figure, hit.voice), 1)),
            }
        }
        counts.sort_by_key(|(key, count)| (std::cmp::Reverse(*count), *key));
        counts.into_iter().map(|(key, _)| key).collect()
    }

    fn feet_play(&self, voice: Voice) -> bool {
        self.body.limbs(voice).list().into_iter().any(is_foot)
    }

    /// Whether the free line is dense enough, and has enough of a foot in it, to be played by one hand and a foot.
    fn may_be_a_side(&self) -> bool {
        let free: Vec<&Played> = self.hits.iter().filter(|hit| hit.figure.is_none()).collect();
        let feet = free.iter().filter(|hit| self.feet_play(hit.voice)).count();
        let mut gaps: Vec<f64> = free
            .iter()
            .zip(free.iter().skip(1))
            .map(|(a, b)| b.time.0 - a.time.0)
            .collect();
        gaps.sort_by(f64::total_cmp);
        let dense = gaps.get(gaps.len() / 2).is_some_and(|gap| *gap < DENSE);
        dense && feet < free.len() && feet as f64 >= FEET_IN_A_SIDE * free.len() as f64
    }

    /// What a way costs beyond its strokes: hand and foot go in pairs, by sides.
    fn habit(&self, way: &Way) -> f64 {
        let mut cost = 0.0;
        for figure in 0..self.frames.len() {
            let hands: Vec<Limb> = (way.figure.iter())
                .filter(|keeps| keeps.figure == figure)
                .filter_map(|keeps| keeps.limb)
                .collect();
            cost += self.not_a_side(&hands, Some(figure));
        }
        match way.hands {
            Hands::Both => cost,
            Hands::Right => cost + self.not_a_side(&[Limb::RightHand], None),
            Hands::Left => cost + self.not_a_side(&[Limb::LeftHand], None),
        }
    }

    /// The cost of one hand together with the one foot that a figure, or the free line, has most of.
    fn not_a_side(&self, hands: &[Limb], figure: Option<usize>) -> f64 {
        let Some(hand) = hands
            .first()
            .filter(|hand| hands.iter().all(|other| other == *hand))
        else {
            return 0.0;
        };
        let mut feet = [0usize; 2];
        for hit in self.hits.iter().filter(|hit| hit.figure == figure) {
            let limbs = self.body.limbs(hit.voice);
            for (count, foot) in feet.iter_mut().zip(TWO_FEET) {
                *count += usize::from(limbs.has(foot));
            }
        }
        let [right, left] = feet;
        let foot = match right.cmp(&left) {
            std::cmp::Ordering::Greater => Limb::RightFoot,
            std::cmp::Ordering::Less => Limb::LeftFoot,
            std::cmp::Ordering::Equal => return 0.0,
        };
        // A few strokes of the other foot do no harm, as many of both make no side.
        let (most, least) = (right.max(left), right.min(left));
        if same_side(*hand, foot) || least * 3 > most {
            0.0
        } else {
            NOT_A_SIDE
        }
    }

    /// The strokes of the hands, or of the feet, moment by moment, with what each limb pays for them.
    fn moments(&self, feet: bool, way: &Way) -> Vec<Moment> {
        let mut moments: Vec<Moment> = Vec::new();
        let mut last: Option<&Played> = None;
        for (at, hit) in self.hits.iter().enumerate() {
            if self.feet_play(hit.voice) != feet {
                continue;
            }
            let together = last.is_some_and(|before| match (before.step, hit.step) {
                (Some(a), Some(b)) => a == b,
                _ => hit.time.0 - before.time.0 < TOGETHER,
            });
            let need = Need {
                hit: at,
                at: self.body.reach(hit.voice).at,
                cost: if feet {
                    self.feet_cost(at, hit)
                } else {
                    self.hand_cost(at, hit, way)
                },
            };
            match moments.last_mut().filter(|_| together) {
                Some(moment) => moment.needs.push(need),
                None => moments.push(Moment {
                    time: hit.time.0,
                    needs: vec![need],
                }),
            }
            last = Some(hit);
        }
        moments
    }

    /// What the player said, and what other places of the same cell say.
    fn said(&self, at: usize, limb: Limb) -> f64 {
        match self.pinned.get(at).copied().flatten() {
            Some(pinned) if pinned != limb => f64::INFINITY,
            _ => self.elsewhere(at, limb),
        }
    }

    /// What other places of the same cell say, where the player said nothing.
    fn elsewhere(&self, at: usize, limb: Limb) -> f64 {
        let pinned = self.pinned.get(at).copied().flatten();
        let expected = self.expected.get(at).copied().flatten();
        if pinned.is_none() && expected.is_some_and(|expected| expected != limb) {
            OTHER_STICKING
        } else {
            0.0
        }
    }

    fn feet_cost(&self, at: usize, hit: &Played) -> [f64; 2] {
        TWO_FEET.map(|foot| {
            let may = self.body.limbs(hit.voice).has(foot) || self.pinned.get(at) == Some(&Some(foot));
            let leads = self.body.reach(hit.voice).lead.is_none_or(|lead| lead == foot);
            let cost = if may { 0.0 } else { f64::INFINITY };
            cost + if leads { 0.0 } else { NOT_LEADING } + self.said(at, foot)
        })
    }

    fn hand_cost(&self, at: usize, hit: &Played, way: &Way) -> [f64; 2] {
        let reach = self.body.reach(hit.voice);
        let busy = |limb: Limb| {
            hit.figure.is_none()
                && way.figure.iter().any(|keeps| {
                    let inside = self.frames.get(keeps.figure).zip(hit.step);
                    keeps.limb == Some(limb) && inside.is_some_and(|(frame, step)| frame.holds(step))
                })
        };
        let kept = hit.figure.and_then(|figure| {
            let same = |keeps: &&Keeps| (keeps.figure, keeps.voice) == (figure, hit.voice);
            way.figure.iter().find(same)?.limb
        });
        let free = !TWO_HANDS.into_iter().any(busy);
        TWO_HANDS.map(|hand| {
            let pinned = self.pinned.get(at) == Some(&Some(hand));
            if !reach.limbs.has(hand) && !pinned {
                return f64::INFINITY;
            }
            let over = if hand == Limb::RightHand {
                -reach.at.0
            } else {
                reach.at.0
            };
            // Which hand leads is a matter of choice, which a line of one hand has not.
            let cost = self.said(at, hand)
                + match reach.lead {
                    Some(lead) if way.hands == Hands::Both && lead == hand => 0.0,
                    Some(_) if way.hands == Hands::Both => NOT_LEADING + REACH_OVER * over.max(0.0),
                    _ => REACH_OVER * over.max(0.0),
                };
            cost + match (kept, way.hands) {
                (Some(kept), _) if kept == hand => 0.0,
                (Some(_), _) => NOT_THE_FIGURES,
                (None, Hands::Right) if hand == Limb::LeftHand => OTHER_HAND,
                (None, Hands::Left) if hand == Limb::RightHand => OTHER_HAND,
                _ if busy(hand) => BUSY,
                (None, Hands::Both) if free => CHOICE,
                _ => 0.0,
            }
        })
    }
}
