//! Copies that go round in a circle.
//!
//! What: a copy does where its source is, through other copies, made from its target: where both are in one strongly connected component of the graph of copies.
//! Source: M. Sharir, "A strong-connectivity algorithm and its applications in data flow analysis", 1981: two depth-first searches; from memory.
//! Invariant: the work grows with groups and copies, however long their chains.

use super::Copy;
use crate::bounds::{Code, Flaw};
use crate::stage::{GroupId, Stage};

/// A flaw for every copy whose source is, through other copies, made from itself.
pub(super) fn flaws(stage: &Stage, copies: &[Copy]) -> Vec<Flaw> {
    let name = |g: GroupId| stage.group_name(g);
    let edges: Vec<(usize, usize)> = copies.iter().map(|c| (c.from().index(), c.to().index())).collect();
    let component = components(stage.groups().len(), &edges);
    let flaw = |(i, copy): (usize, &Copy)| {
        Flaw::new(Code::CircularReference, "copy", "copies form a circle")
            .found(format!("from `{}` to `{}`", name(copy.from()), name(copy.to())), "copies that end at a group nothing copies from")
            .at_index(i)
    };
    let goes_round = |(_, copy): &(usize, &Copy)| component.get(copy.from().index()) == component.get(copy.to().index());
    copies.iter().enumerate().filter(goes_round).map(flaw).collect()
}

/// The strongly connected component of each of `n` nodes, by a number of its own.
fn components(n: usize, edges: &[(usize, usize)]) -> Vec<usize> {
    let mut ahead: Vec<Vec<usize>> = vec![Vec::new(); n];
    let mut back = ahead.clone();
    for (from, to) in edges {
        if let (Some(ahead), Some(back)) = (ahead.get_mut(*from), back.get_mut(*to)) {
            ahead.push(*to);
            back.push(*from);
        }
    }
    let mut left = Vec::with_capacity(n);
    let mut seen = vec![false; n];
    (0..n).for_each(|node| visit(node, &ahead, &mut seen, &mut |node| left.push(node)));
    let mut component = vec![0; n];
    let mut seen = vec![false; n];
    for root in left.into_iter().rev() {
        visit(root, &back, &mut seen, &mut |node| {
            if let Some(component) = component.get_mut(node) {
                *component = root;
            }
        });
    }
    component
}

/// Goes to every node not yet seen that can be reached, and calls `leave` when all behind a node have been seen.
fn visit(start: usize, edges: &[Vec<usize>], seen: &mut [bool], leave: &mut dyn FnMut(usize)) {
    // A node, and how many of its edges have been followed.
    let mut path = Vec::new();
    let mut enter = |node: usize, path: &mut Vec<(usize, usize)>| {
        if let Some(new) = seen.get_mut(node).filter(|seen| !**seen) {
            *new = true;
            path.push((node, 0));
        }
    };
    enter(start, &mut path);
    while let Some((node, followed)) = path.last_mut() {
        match edges.get(*node).and_then(|next| next.get(*followed)) {
            Some(next) => {
                *followed += 1;
                enter(*next, &mut path);
            }
            None => {
                leave(*node);
                path.pop();
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_can_reach_each_other_is_one_component() {
        // 0 -> 1 -> 2 -> 0 is a circle; 3 leads into it, 4 out of it, 5 copies onto itself.
        let component = components(6, &[(0, 1), (1, 2), (2, 0), (3, 0), (2, 4), (5, 5)]);
        let same = |a: usize, b: usize| component.get(a) == component.get(b);
        assert!(same(0, 1) && same(1, 2) && !same(0, 3) && !same(0, 4) && !same(3, 4) && !same(4, 5), "{component:?}");
    }

    #[test]
    fn a_long_chain_needs_no_deep_stack() {
        let edges: Vec<(usize, usize)> = (0..200_000).map(|i| (i, i + 1)).collect();
        let mut component = components(200_001, &edges);
        component.sort_unstable();
        component.dedup();
        assert_eq!(component.len(), 200_001);
    }
}
