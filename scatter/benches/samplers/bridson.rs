//! The plain sampler that everybody writes: Bridson, "Fast Poisson disk sampling in arbitrary
//! dimensions", 2007.

use std::f64::consts::TAU;

use scatter::random::stream;

/// Candidates round a point before it is given up: the paper's value.
const TRIES: usize = 30;

/// Points of the unit square, no two nearer than `apart`: candidates at a distance of one to two
/// times `apart` from an active point, uniform over that ring's area, against a grid of cells that
/// hold one point each. The last active point is tried first.
pub(crate) fn bridson(apart: f64, seed: u64) -> Vec<[f64; 2]> {
    /// Farther than any point.
    const EMPTY: [f64; 2] = [1e9; 2];
    let mut draws = stream(seed);
    // A cell's diagonal is the least distance
    let size = apart / std::f64::consts::SQRT_2;
    let across = (1.0 / size).ceil() as usize;
    // Two rings of empty cells about the square spare the test for its edge
    let stride = across + 4;
    let cell = |p: [f64; 2]| ((p[1] / size) as usize + 2) * stride + (p[0] / size) as usize + 2;
    let mut grid = vec![EMPTY; stride * stride];
    let first = [draws.unit(), draws.unit()];
    let mut points = vec![first];
    let mut active = vec![first];
    grid[cell(first)] = first;
    while let Some(&from) = active.last() {
        let found = (0..TRIES).find_map(|_| {
            let away = apart * (1.0 + 3.0 * draws.unit()).sqrt();
            let (sin, cos) = (TAU * draws.unit()).sin_cos();
            let p = [from[0] + away * cos, from[1] + away * sin];
            let inside = p.iter().all(|c| (0.0..1.0).contains(c));
            (inside && is_free(&grid, stride, cell(p), p, apart * apart)).then_some(p)
        });
        match found {
            Some(p) => {
                grid[cell(p)] = p;
                active.push(p);
                points.push(p);
            }
            None => {
                active.pop();
            }
        }
    }
    points
}

/// Whether no point of the 5 x 5 cells about a place's cell is nearer to it than the root of
/// `square`.
fn is_free(grid: &[[f64; 2]], stride: usize, cell: usize, p: [f64; 2], square: f64) -> bool {
    let rows = (cell - 2 * stride..=cell + 2 * stride).step_by(stride);
    rows.into_iter().all(|row| {
        grid[row - 2..=row + 2].iter().all(|q| {
            let (dx, dz) = (p[0] - q[0], p[1] - q[1]);
            dx * dx + dz * dz >= square
        })
    })
}
