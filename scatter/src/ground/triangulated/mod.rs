//! The ground as triangles: what pictures show and what is delivered, within a stated distance of
//! the ground that pieces lie on.
//!
//! A ground that is a function of the place becomes right triangles on a lattice, finer where it
//! bends and where the lens is near ([`lattice`]), with no gap where fine meets coarse. A ground from
//! a mesh keeps its own triangles.

mod file;
mod lattice;
mod list;
mod sampled;

use glam::DVec3;
use rayon::prelude::*;

use super::{Ground, GroundForm};
use crate::kit::Mesh;
use lattice::{Halved, Place, Right, STEP};
use list::TriangleList;
use sampled::SampledSquare;

/// Distance of the triangles from the ground, in pixels of the nearest lens: shape that a pixel
/// blurs.
pub const TOLERANCE: f64 = 0.25;

/// Widest square, in pixels of the nearest lens: over its breadth the size of a pixel changes by a
/// few hundredths of itself.
const WIDEST: f64 = 128.0;

/// The same of a plane, which no tolerance concerns: single precision loses nothing within it.
const WIDEST_PLANE: f64 = 1024.0;

/// Distance of samples under which the ground is not looked at, in pixels: what is narrower than that
/// is within the tolerance, whichever way it goes.
const NARROWEST: f64 = 0.25;

/// What part of a ground is wanted, and how fine.
pub struct WantedGround<'a> {
    /// Plan rectangles `[x0, z0, x1, z1]` that together hold all of it, metres.
    pub within: Vec<[f64; 4]>,
    /// Side of the smallest pixel with which any part of a plan rectangle is seen, metres at the
    /// ground; None where nothing of it is wanted. Smaller rectangles inside have no smaller pixels.
    pub pixel: &'a (dyn Fn([f64; 4]) -> Option<f64> + Sync),
    /// Most triangles. Where more would be needed, the tolerance is raised until they suffice.
    pub most: usize,
    /// Where the mesh's own frame has its origin in the world, metres: near the lens, so that
    /// single precision is exact there.
    pub origin: DVec3,
}

impl std::fmt::Debug for WantedGround<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("WantedGround")
            .field("within", &self.within)
            .field("most", &self.most)
            .field("origin", &self.origin)
            .finish_non_exhaustive()
    }
}

/// A part of the ground as triangles.
#[derive(Debug, Clone)]
pub struct Triangulated {
    /// Relative to the origin that was asked for, metres; normals are smooth.
    pub mesh: Mesh,
    /// Maximum distance of the ground from the triangles, in pixels of the nearest lens; 0 where
    /// they are the ground's own.
    pub tolerance: f64,
}

/// A square of the lattice that is wanted.
#[derive(Clone, Copy)]
struct WantedSquare {
    power: u32,
    corner: Place,
    /// Cells along a side, as a power of two.
    cells: u32,
    /// Side of the smallest pixel that sees it, metres.
    pixel: f64,
}

impl Ground {
    /// The part of the ground that is wanted, as triangles.
    #[must_use]
    pub fn triangulated(&self, wanted: &WantedGround<'_>) -> Triangulated {
        if let GroundForm::Mesh(mesh) = &self.form {
            let (parts, world_from_mesh) = mesh.parts();
            let mut corners = file::corners(parts, world_from_mesh, wanted);
            if let Some([hx, hz]) = self.extent {
                corners = corners.within([-hx, -hz, hx, hz]);
            }
            return Triangulated {
                mesh: corners.mesh(wanted.origin),
                tolerance: 0.0,
            };
        }
        let mut tolerance = TOLERANCE;
        loop {
            let corners = self.on_lattice(wanted, tolerance);
            let count = corners.triangles.len();
            if count <= wanted.most {
                let corners = match self.bounds() {
                    Some(bounds) => corners.within(bounds),
                    None => corners,
                };
                return Triangulated {
                    mesh: corners.mesh(wanted.origin),
                    tolerance,
                };
            }
            // The number of triangles falls with the tolerance, of rough ground faster: in steps
            tolerance *= (count as f64 / wanted.most.max(1) as f64).clamp(1.25, 2.0);
        }
    }

    /// The wanted part on the lattice, its triangles no farther from the ground than `tolerance`
    /// pixels.
    fn on_lattice(&self, wanted: &WantedGround<'_>, tolerance: f64) -> TriangleList {
        let (squares, power) = self.squares(wanted, tolerance);
        let asked: Vec<Vec<Place>> = squares
            .par_iter()
            .map(|s| {
                let square = (s.power, s.corner);
                SampledSquare::new(self, square, s.cells, tolerance * s.pixel).asked()
            })
            .collect();
        let halved = Halved::new(asked.into_iter().flatten(), power);
        let triangles: Vec<[Place; 3]> = squares
            .par_iter()
            .flat_map_iter(|s| leaves(&halved, s))
            .collect();
        let mut places: Vec<Place> = triangles.iter().flatten().copied().collect();
        places.par_sort_unstable();
        places.dedup();
        let number = |place: Place| {
            let found = places.binary_search(&place);
            found.expect("it is among them") as u32
        };
        let triangles: Vec<[u32; 3]> = triangles.par_iter().map(|t| t.map(number)).collect();
        let places: Vec<DVec3> = places
            .par_iter()
            .map(|place| {
                let [x, z] = place.map(|v| v as f64 * STEP);
                DVec3::new(x, self.height(x, z), z)
            })
            .collect();
        TriangleList::smooth(places, triangles)
    }

    /// The squares that are wanted, fine enough to be sampled, and the power of two of the coarsest.
    fn squares(&self, wanted: &WantedGround<'_>, tolerance: f64) -> (Vec<WantedSquare>, u32) {
        let sides = wanted.within.iter().map(|r| (r[2] - r[0]).max(r[3] - r[1]));
        let widest = sides.fold(0.0, f64::max);
        let power = (0..lattice::WIDEST)
            .find(|p| side(*p) >= widest)
            .unwrap_or(lattice::WIDEST);
        let mut level: Vec<Place> = Vec::new();
        for r in &wanted.within {
            let [x0, z0, x1, z1] = r.map(|v| libm::floor(v / side(power)) as i64);
            level.extend((x0..=x1).flat_map(|i| (z0..=z1).map(move |j| [i, j])));
        }
        level.sort_unstable();
        level.dedup();
        let mut squares = Vec::new();
        for power in (0..=power).rev() {
            let seen: Vec<(Place, Result<WantedSquare, ()>)> = level
                .par_iter()
                .filter_map(|corner| {
                    let square = self.wanted_square((power, *corner), wanted, tolerance)?;
                    Some((*corner, square))
                })
                .collect();
            level.clear();
            for (corner, square) in seen {
                match square {
                    Ok(square) => squares.push(square),
                    Err(()) => level.extend(quarters(corner)),
                }
            }
        }
        (squares, power)
    }

    /// A square to be sampled; None where it is not wanted, an error where it is too coarse.
    fn wanted_square(
        &self,
        (power, corner): (u32, Place),
        wanted: &WantedGround<'_>,
        tolerance: f64,
    ) -> Option<Result<WantedSquare, ()>> {
        let [i, j] = corner;
        let side = side(power);
        let rectangle = [i, j, i + 1, j + 1].map(|v| v as f64 * side);
        if self.is_void(rectangle) {
            return None;
        }
        let pixel = (wanted.pixel)(rectangle)?;
        let widest = match &self.form {
            GroundForm::Plane(_) if self.lines.press_nothing() => WIDEST_PLANE,
            _ => WIDEST,
        };
        if side > widest * pixel && power > 0 {
            return Some(Err(()));
        }
        let between = (1.0 - sampled::AT_SAMPLES) * tolerance * pixel;
        let spacing = self.spacing(rectangle, between).max(NARROWEST * pixel);
        let cells = sampled::cells(side, spacing).or((power == 0).then_some(0));
        Some(cells.ok_or(()).map(|cells| WantedSquare {
            power,
            corner,
            cells,
            pixel,
        }))
    }

    /// Distance of samples between which the ground is nowhere farther than `off` from the triangle
    /// through them, metres; infinite where it has no bends.
    fn spacing(&self, rectangle: [f64; 4], off: f64) -> f64 {
        let pressed = self.lines.spacing(rectangle, 0.5 * off);
        // Each may be off on its own where both are
        let off = if pressed.is_finite() { 0.5 * off } else { off };
        let own = match &self.form {
            GroundForm::Plane(_) | GroundForm::Mesh(_) => f64::INFINITY,
            GroundForm::Relief(_, relief) => relief.spacing(off),
            GroundForm::Image(image) => image.spacing(rectangle, off),
        };
        own.min(pressed)
    }
}

/// Side of a square of 2^power steps, metres.
fn side(power: u32) -> f64 {
    (1_u64 << power) as f64 * STEP
}

fn quarters([i, j]: Place) -> [Place; 4] {
    [(0, 0), (1, 0), (0, 1), (1, 1)].map(|(x, z)| [2 * i + x, 2 * j + z])
}

/// The triangles of a square that are not halved.
fn leaves(halved: &Halved, square: &WantedSquare) -> Vec<[Place; 3]> {
    let mut work = Vec::from(Right::of_square(square.power, square.corner));
    let mut leaves = Vec::new();
    while let Some(t) = work.pop() {
        match t.middle().filter(|m| halved.has(*m)) {
            Some(middle) => work.extend(t.halves(middle)),
            None => leaves.push(t.corners()),
        }
    }
    leaves
}

#[cfg(test)]
mod tests;
