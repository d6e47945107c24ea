//! In: what is unexplained of moves, each with a place. Out: how far a place explains it.
//!
//! Nodes with straight lines between them. What a pass of moves shows is put in force at its end, all nodes at once and
//! relative to the anchor, where a cause has no effect by definition: so a lasting change, which all places have in
//! common, is never taken for an effect.

/// Part of what a pass shows that is put in force, from the second pass on.
const GAIN: f32 = 0.4;
/// Passes that count when effects are learnt again.
const AGAIN: u8 = 2;
/// Moves at a node that count half.
const HALF: f32 = 24.0;
/// Resolution of effects.
const WHOLE: f32 = 8192.0;
/// Resolution of weights, and weight at which what a node was met with halves: later moves count more.
const SIXTEENTHS: f32 = 16.0;
const FULL: u16 = 60_000;
/// Bounds of an effect, relative.
const SMALLEST: f32 = -0.5;
const LARGEST: f32 = 1.0;

/// A place between a node and the next.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Place {
    /// The two nodes.
    pub(super) nodes: (u8, u8),
    /// How near the second is, from 0 to 1.
    pub(super) part: f32,
}

/// Effects at a number of nodes. Unit: 1 (relative to the baseline)
#[derive(Clone, Copy, Debug)]
pub(super) struct Profile<const NODES: usize> {
    /// Unit: 1/8192
    nodes: [i16; NODES],
    sums: [f32; NODES],
    /// Unit: 1/16 moves
    weights: [u16; NODES],
    passes: u8,
    /// Number of passes after which effects stay: a fault that comes with a cause is not to be explained away.
    most: u8,
}

impl Place {
    /// At a node.
    pub(super) const fn node(node: u8) -> Place {
        Place { nodes: (node, node), part: 0.0 }
    }
}

impl<const NODES: usize> Profile<NODES> {
    /// No effect anywhere; learnt from so many passes.
    pub(super) const fn new(most: u8) -> Profile<NODES> {
        Profile { nodes: [0; NODES], sums: [0.0; NODES], weights: [0; NODES], passes: 0, most }
    }

    /// The effect at a node.
    pub(super) fn node(&self, node: usize) -> f32 {
        self.nodes.get(node).map_or(0.0, |effect| f32::from(*effect) / WHOLE)
    }

    /// Number of passes put in force.
    pub(super) fn passes(&self) -> u8 {
        self.passes
    }

    /// The effect at a place.
    pub(super) fn at(&self, place: Place) -> f32 {
        let (from, to) = (self.node(place.nodes.0.into()), self.node(place.nodes.1.into()));
        from + place.part * (to - from)
    }

    /// Adds a move that differs by `residual` from what is explained.
    pub(super) fn step(&mut self, place: Place, residual: f32) {
        for (node, weight) in [(place.nodes.0, 1.0 - place.part), (place.nodes.1, place.part)] {
            let node = usize::from(node);
            if let (Some(sum), Some(all)) = (self.sums.get_mut(node), self.weights.get_mut(node)) {
                let weight = (weight * SIXTEENTHS + 0.5) as u16;
                *sum += f32::from(weight) / SIXTEENTHS * residual;
                *all += weight;
                if *all > FULL {
                    (*sum, *all) = (*sum / 2.0, *all / 2);
                }
            }
        }
    }

    /// Puts a pass of some nodes in force; `anchor` weighs the nodes whose mean effect stays. Whether it was: nothing is if
    /// no anchor was met, nor after the last pass that is learnt.
    pub(super) fn finish(&mut self, of: impl Fn(usize) -> bool, anchor: impl Fn(usize) -> f32) -> bool {
        let gain = if self.passes == 0 { 1.0 } else { GAIN };
        let mut steps = [0.0; NODES];
        let (mut shift, mut anchored) = (0.0, 0.0);
        for (node, step) in steps.iter_mut().enumerate().filter(|(node, _)| of(*node)) {
            let (mean, weight) = self.unexplained(node);
            if weight >= 1.0 {
                *step = mean;
                shift += anchor(node) * mean;
                anchored += anchor(node);
            }
        }
        let in_force = anchored > 0.0 && self.passes < self.most;
        for (node, step) in steps.iter().enumerate().filter(|(node, _)| of(*node)) {
            if in_force {
                self.move_node(node, gain * (step - shift / anchored));
            }
            self.forget(node);
        }
        self.passes = self.passes.saturating_add(u8::from(in_force));
        in_force
    }

    /// Effects are learnt again, from what they are.
    pub(super) fn learn_again(&mut self) {
        self.passes = self.passes.min(AGAIN);
    }

    /// Moves a node that was met.
    pub(super) fn move_node(&mut self, node: usize, step: f32) {
        let weight = self.weight(node);
        let moved = (self.node(node) + step * weight / (weight + HALF)).clamp(SMALLEST, LARGEST);
        if let Some(effect) = self.nodes.get_mut(node).filter(|_| weight >= 1.0) {
            *effect = (moved * WHOLE) as i16;
        }
    }

    /// Forgets what a node was met with.
    pub(super) fn forget(&mut self, node: usize) {
        if let (Some(sum), Some(weight)) = (self.sums.get_mut(node), self.weights.get_mut(node)) {
            (*sum, *weight) = (0.0, 0);
        }
    }

    /// Mean of what is unexplained at a node, and the number of moves.
    pub(super) fn unexplained(&self, node: usize) -> (f32, f32) {
        let weight = self.weight(node);
        (self.sum(node) / weight.max(1e-6), weight)
    }

    fn weight(&self, node: usize) -> f32 {
        self.weights.get(node).map_or(0.0, |weight| f32::from(*weight) / SIXTEENTHS)
    }

    fn sum(&self, node: usize) -> f32 {
        self.sums.get(node).copied().unwrap_or_default()
    }
}
