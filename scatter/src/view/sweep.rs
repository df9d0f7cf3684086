//! A camera over all its frames.
//!
//! Hundreds of frames are searched by halves: a run of frames whose cone can't see a piece is
//! skipped at once.

use std::cell::Cell;
use std::collections::BTreeMap;

use glam::DVec3;

use super::cone::Cone;
use super::{Body, ConvexPolygon, Eye, GroundTile, OctaveReach, any_size};
use crate::brief::Resolve;
use crate::ground::{Floor, Ground};
use crate::optics::Track;

/// A camera with what it resolves in each frame.
#[derive(Debug, Clone)]
pub struct Sweep {
    /// Number of the first frame.
    first: i64,
    eyes: Vec<Eye>,
    /// Cones over runs of frames, as a binary tree: runs of [`RUN`] frames first, then twice as
    /// many, up to all. None for one frame.
    levels: Vec<Vec<Cone>>,
}

/// Frames in a run that are tested one by one.
const RUN: usize = 4;

/// Frames whose hull is this much larger than the largest of them are not taken together: what only
/// the hull holds is made and thrown away.
const LARGER: f64 = 1.5;

impl Sweep {
    /// A camera's frames at the footprint that `resolve` asks for, over ground that is nowhere
    /// under `floor`.
    #[must_use]
    pub fn new(track: &Track, resolve: Resolve, floor: Floor) -> Self {
        let frames = track.frames.iter();
        let eyes: Vec<Eye> = frames.map(|c| Eye::new(c, resolve, floor)).collect();
        let mut levels = Vec::new();
        let mut run = RUN;
        while eyes.len() > 1 {
            levels.push(eyes.chunks(run).map(Cone::new).collect::<Vec<_>>());
            if run >= eyes.len() {
                break;
            }
            run *= 2;
        }
        Self {
            first: track.first,
            eyes,
            levels,
        }
    }

    /// Whether it has more than one frame.
    #[must_use]
    pub fn moves(&self) -> bool {
        self.eyes.len() > 1
    }

    /// The frames with their numbers.
    pub fn frames(&self) -> impl Iterator<Item = (i64, &Eye)> {
        (self.first..).zip(&self.eyes)
    }

    /// The first frame, from the front or from the back, for which `sees` holds, among those whose
    /// cones may see.
    fn find(
        &self,
        back: bool,
        may: &dyn Fn(&Cone) -> bool,
        sees: &dyn Fn(&Eye) -> bool,
    ) -> Option<usize> {
        let Some(top) = self.levels.len().checked_sub(1) else {
            return self.eyes.iter().position(sees);
        };
        let mut open = vec![(top, 0)];
        while let Some((level, index)) = open.pop() {
            let Some(cone) = self.levels[level].get(index) else {
                continue;
            };
            if !may(cone) {
                continue;
            }
            if level > 0 {
                let (a, b) = ((level - 1, 2 * index), (level - 1, 2 * index + 1));
                // What is pushed last is looked at first
                open.extend(if back { [a, b] } else { [b, a] });
                continue;
            }
            let run = RUN * index..(RUN * (index + 1)).min(self.eyes.len());
            let found = if back {
                run.rev().find(|i| sees(&self.eyes[*i]))
            } else {
                run.clone().find(|i| sees(&self.eyes[*i]))
            };
            if found.is_some() {
                return found;
            }
        }
        None
    }

    /// Whether any frame sees the piece; see [`Eye::sees`].
    #[must_use]
    pub fn sees(&self, body: &Body) -> bool {
        let may = |c: &Cone| c.may_see(body.middle, body, 0.0);
        self.find(false, &may, &|e| e.sees(body)).is_some()
    }

    /// Whether any frame sees along the line from the piece's middle to `end`; see
    /// [`Eye::sees_along`].
    #[must_use]
    pub fn sees_along(&self, body: &Body, end: DVec3) -> bool {
        let middle = 0.5 * (body.middle + end);
        let way = 0.5 * body.middle.distance(end);
        let may = |c: &Cone| c.may_see(middle, body, way);
        self.find(false, &may, &|e| e.sees_along(body, end))
            .is_some()
    }

    /// The smallest diameter of a piece that is resolved by a frame that shows its middle, metres;
    /// infinite if none does.
    #[must_use]
    pub fn finest_shown(&self, body: &Body) -> f64 {
        let middle = any_size(body.middle, 0.0);
        let may = |c: &Cone| c.may_see(middle.middle, &middle, 0.0);
        let finest = Cell::new(f64::INFINITY);
        // Every frame is looked at: none is the one that is sought
        self.find(false, &may, &|e| {
            if e.sees(&middle) {
                finest.set(finest.get().min(e.finest_footprint(body)));
            }
            false
        });
        finest.get()
    }

    /// Numbers of the first and last frame that sees the piece.
    #[must_use]
    pub fn first_last_seen(&self, body: &Body) -> Option<[i64; 2]> {
        let may = |c: &Cone| c.may_see(body.middle, body, 0.0);
        let sees = |e: &Eye| e.sees(body);
        let first = self.find(false, &may, &sees)?;
        let last = self.find(true, &may, &sees)?;
        Some([first, last].map(|i| self.first + i as i64))
    }

    /// The convex plan polygons that together hold every piece of the given size that any frame can
    /// want. `shadow` as in
    /// [`Eye::plan_points`].
    #[must_use]
    pub fn regions(
        &self,
        reach: OctaveReach,
        ground: &Ground,
        shadow: DVec3,
    ) -> Vec<ConvexPolygon> {
        // Each polygon with the area of the largest frame in it
        let mut by_tile: BTreeMap<GroundTile, Vec<(ConvexPolygon, f64)>> = BTreeMap::new();
        for eye in &self.eyes {
            for (tile, mut points) in eye.plan_points(reach, ground, shadow) {
                let toward_sun: Vec<[f64; 2]> = points
                    .iter()
                    .map(|p| [p[0] - shadow.x, p[1] - shadow.z])
                    .collect();
                points.extend(toward_sun);
                let Some(next) = ConvexPolygon::hull(&points, reach.round) else {
                    continue;
                };
                let all = by_tile.entry(tile).or_default();
                // Neighbouring frames see much the same: one polygon for as many as fit in one that
                // is little larger
                let area = next.area();
                if let Some((last, largest)) = all.last_mut() {
                    let joined = last.joined(&next);
                    let most = largest.max(area);
                    if joined.area() <= LARGER * most {
                        (*last, *largest) = (joined, most);
                        continue;
                    }
                }
                all.push((next, area));
            }
        }
        by_tile
            .into_values()
            .flatten()
            .map(|(polygon, _)| polygon)
            .collect()
    }
}
