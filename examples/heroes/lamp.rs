//! An old miner's lamp: brass font and rings, glass behind rods, a bonnet of blackened iron with a
//! hook.

use std::f64::consts::TAU;

use glam::{DQuat, DVec3};
use scatter::random::text_key;

use crate::curve::spline;
use crate::lathe::{Profile, lathe};
use crate::model::{Model, Stuff};
use crate::surface::{Surface, Vertex};
use crate::sweep::tube;
use crate::wear::{Color, Dent, color, dented, fractal, noise, ramp};

const BRASS: Stuff = Stuff {
    name: "brass",
    roughness: 0.38,
    metallic: 1.0,
    two_sided: false,
};
const TARNISH: Stuff = Stuff {
    name: "tarnished brass",
    roughness: 0.62,
    metallic: 0.6,
    two_sided: false,
};
const IRON: Stuff = Stuff {
    name: "blackened iron",
    roughness: 0.6,
    metallic: 0.5,
    two_sided: true,
};
const GLASS: Stuff = Stuff {
    name: "clouded glass",
    roughness: 0.12,
    metallic: 0.0,
    two_sided: false,
};

const BRIGHT: Color = color(0.72, 0.49, 0.20);
const BROWN: Color = color(0.135, 0.085, 0.040);
const VERDIGRIS: Color = color(0.085, 0.165, 0.120);
const BLACK: Color = color(0.030, 0.028, 0.027);
const RUST: Color = color(0.150, 0.056, 0.022);
const GREY: Color = color(0.21, 0.20, 0.19);

/// Faces that meet flatter than this stay smooth: cosine of 36 degrees.
const CREASE: f64 = 0.809;

/// Distance of the rods from the axis, metres.
const CAGE: f64 = 0.0350;
/// Heights of the glass's ends, metres.
const GLASS_SPAN: [f64; 2] = [0.0675, 0.1285];
/// Where the bonnet begins, metres.
const BONNET: f64 = 0.1375;

const DENTS: [Dent; 4] = [
    // The bonnet has hit the roof
    Dent {
        at: [0.016, 0.158, 0.032],
        push: [-0.5, 0.0, -0.8],
        reach: 0.017,
        depth: 0.0040,
    },
    Dent {
        at: [-0.030, 0.176, 0.022],
        push: [0.5, -0.8, -0.3],
        reach: 0.014,
        depth: 0.0030,
    },
    Dent {
        at: [-0.022, 0.030, 0.031],
        push: [0.5, 0.0, -0.8],
        reach: 0.015,
        depth: 0.0026,
    },
    // Its foot was set down hard
    Dent {
        at: [0.032, 0.003, 0.029],
        push: [-0.6, 0.5, -0.5],
        reach: 0.014,
        depth: 0.0026,
    },
];

/// The lamp, its lock toward +z.
pub(crate) fn lamp() -> Model {
    let mut model = Model::default();
    font(&mut model);
    glass(&mut model);
    rods(&mut model);
    bonnet(&mut model);
    hook(&mut model);
    model
}

#[expect(clippy::too_many_lines, reason = "a table of profiles")]
fn font(model: &mut Model) {
    let base = Profile::default()
        .run(0.010, &[[0.0, 0.0015], [0.030, 0.0015]])
        .run(0.003, &[[0.030, 0.0015], [0.0385, 0.0]])
        .run(
            0.0017,
            &[
                [0.0385, 0.0],
                [0.0425, 0.0012],
                [0.0432, 0.0040],
                [0.0425, 0.0068],
                [0.0400, 0.0085],
                [0.0390, 0.0105],
            ],
        )
        .run(
            0.0024,
            &[
                [0.0390, 0.0105],
                [0.0384, 0.0180],
                [0.0382, 0.0300],
                [0.0380, 0.0430],
            ],
        )
        .run(
            0.0014,
            &[
                [0.0380, 0.0430],
                [0.0408, 0.0438],
                [0.0415, 0.0460],
                [0.0408, 0.0482],
                [0.0380, 0.0490],
            ],
        )
        .run(0.0020, &[[0.0362, 0.0490], [0.0362, 0.0575]])
        .run(
            0.0016,
            &[
                [0.0388, 0.0575],
                [0.0405, 0.0590],
                [0.0405, 0.0635],
                [0.0388, 0.0655],
            ],
        )
        .run(0.0040, &[[0.0388, 0.0655], [0.0310, 0.0672]])
        .run(0.010, &[[0.0310, 0.0672], [0.0, 0.0672]]);
    // The collar under the glass is knurled for the hand
    let font = lathe(&base.points, 84, false).bend(|p| {
        let radius = (p.x * p.x + p.z * p.z).sqrt();
        let turn = libm::atan2(p.x, p.z);
        let knurl = ramp(0.0490, 0.0500, p.y) * ramp(0.0575, 0.0565, p.y);
        let tooth = if radius > 0.0355 {
            0.0006 * libm::cos(21.0 * turn)
        } else {
            0.0
        };
        let out = DVec3::new(p.x, 0.0, p.z).normalize_or_zero();
        dented(&DENTS, p + out * (tooth * knurl))
    });
    brass(model, font);

    let upper = Profile::default()
        .run(0.008, &[[0.0, 0.1280], [0.0290, 0.1280]])
        .run(0.0020, &[[0.0290, 0.1280], [0.0370, 0.1272]])
        .run(
            0.0015,
            &[
                [0.0370, 0.1272],
                [0.0402, 0.1282],
                [0.0408, 0.1315],
                [0.0402, 0.1350],
                [0.0380, 0.1372],
            ],
        )
        .run(0.0030, &[[0.0380, 0.1372], [0.0300, 0.1380]])
        .run(0.010, &[[0.0300, 0.1380], [0.0, 0.1380]]);
    brass(model, lathe(&upper.points, 64, false));

    // The lock at the front: a barrel with a screw; the filler's cap at the side
    let barrel = Profile::default()
        .run(0.004, &[[0.0, 0.036], [0.0042, 0.036]])
        .run(
            0.0016,
            &[
                [0.0042, 0.036],
                [0.0050, 0.0372],
                [0.0050, 0.0588],
                [0.0042, 0.060],
            ],
        )
        .run(
            0.0010,
            &[
                [0.0026, 0.060],
                [0.0026, 0.0625],
                [0.0034, 0.0632],
                [0.0034, 0.0660],
            ],
        )
        .run(0.0010, &[[0.0034, 0.0660], [0.0018, 0.0672], [0.0, 0.0674]]);
    brass(
        model,
        lathe(&barrel.points, 20, false).place(|p| p + DVec3::new(0.004, 0.0, 0.0405)),
    );
    let cap = Profile::default()
        .run(0.0015, &[[0.0, -0.003], [0.0088, -0.003]])
        .run(
            0.0008,
            &[[0.0088, -0.003], [0.0088, 0.0024], [0.0078, 0.0036]],
        )
        .run(0.0010, &[[0.0078, 0.0036], [0.0045, 0.0041], [0.0, 0.0042]]);
    let aside = DQuat::from_rotation_y(-0.95) * DQuat::from_rotation_x(0.5 * std::f64::consts::PI);
    let seat = DQuat::from_rotation_y(-0.95) * DVec3::new(0.0, 0.027, 0.0378);
    brass(
        model,
        lathe(&cap.points, 28, false).place(|p| aside * p + seat),
    );
}

/// Tarnish that is thick enough to be a skin of its own where above zero: low, in hollows, away
/// from hands.
fn tarnish(p: DVec3) -> f64 {
    let radius = (p.x * p.x + p.z * p.z).sqrt();
    let hollow = 0.35 * ramp(0.0398, 0.0382, radius) + 0.25 * ramp(0.012, 0.004, p.y);
    let bead = 0.35 * ramp(0.0402, 0.0412, radius);
    let knurl = 0.30 * ramp(0.048, 0.050, p.y) * ramp(0.059, 0.057, p.y);
    fractal(text_key("tarnish"), p, 0.021) + hollow + knurl - bead - 0.02
}

fn brass(model: &mut Model, surface: Surface) {
    let [dull, bright] = surface.with_normals(CREASE).cut(tarnish);
    let paint = |v: &Vertex| {
        let p = v.rest;
        let t = tarnish(p);
        let key = text_key("brass");
        let scuff = noise(key, DVec3::new(p.x / 0.004, p.y / 0.0009, p.z / 0.004));
        let c = BRIGHT
            .lerp(color(0.42, 0.25, 0.09), ramp(-0.55, 0.0, t))
            .lerp(BROWN, ramp(-0.08, 0.22, t))
            .lerp(color(0.070, 0.050, 0.033), ramp(0.2, 0.6, t));
        // Verdigris where water stood: under beads and on the foot
        let seam = [0.0100, 0.0425, 0.0492, 0.0570, 0.0668, 0.1370]
            .iter()
            .map(|y| ramp(0.0024, 0.0004, (p.y - y).abs()))
            .fold(0.0, f64::max);
        let green = noise(key ^ 1, p / 0.007);
        let c = c.lerp(
            VERDIGRIS,
            (0.9 * seam + 0.5 * ramp(0.3, 0.7, t)) * ramp(-0.1, 0.45, green),
        );
        c * (1.0 + 0.14 * scuff)
    };
    model.paint(&TARNISH, &dull, paint);
    model.paint(&BRASS, &bright, paint);
}

fn glass(model: &mut Model) {
    let [low, high] = GLASS_SPAN;
    let middle = 0.5 * (low + high);
    let profile = Profile::default()
        .run(0.01, &[[0.0, low - 0.001], [0.0288, low - 0.001]])
        .run(
            0.0030,
            &[
                [0.0288, low - 0.001],
                [0.0294, low + 0.004],
                [0.0300, middle],
                [0.0294, high - 0.004],
                [0.0288, high + 0.001],
            ],
        )
        .run(0.01, &[[0.0288, high + 0.001], [0.0, high + 0.001]]);
    let tube = lathe(&profile.points, 48, false).with_normals(CREASE);
    model.paint(&GLASS, &tube, |v| {
        let p = v.rest;
        let key = text_key("glass");
        let t = (p.y - low) / (high - low);
        let smoke = t + 0.16 * noise(key, DVec3::new(p.x / 0.012, p.y / 0.03, p.z / 0.012));
        let dust = 0.5 + 0.5 * fractal(key ^ 1, p, 0.016);
        let clear = color(0.43, 0.48, 0.42);
        clear
            .lerp(color(0.55, 0.52, 0.44), 0.6 * dust * ramp(0.6, 0.0, t))
            .lerp(color(0.085, 0.062, 0.040), 0.92 * ramp(0.52, 1.0, smoke))
            .lerp(
                color(0.20, 0.17, 0.13),
                0.7 * ramp(0.09, 0.0, t - 0.03 * dust),
            )
    });
}

fn rods(model: &mut Model) {
    const RODS: usize = 6;
    for i in 0..RODS {
        let a = TAU * (i as f64 + 0.5) / RODS as f64;
        let (s, c) = libm::sincos(a);
        let out = DVec3::new(s, 0.0, c);
        // One has been bent in and put back badly
        let bow = if i == 0 { -0.0016 } else { 0.0004 };
        let knots = [
            out * CAGE + DVec3::Y * 0.0640,
            out * CAGE + DVec3::Y * 0.0760,
            out * (CAGE + bow) + DVec3::new(bow, 0.0920, 0.0),
            out * (CAGE + 0.3 * bow) + DVec3::Y * 0.1150,
            out * CAGE + DVec3::Y * 0.1290,
        ];
        iron(
            model,
            tube(&spline(&knots, 0.0055), DVec3::X, 9, |_| [0.0021; 2]),
        );
        // Nuts: six faces each
        for y in [0.0652, 0.1238] {
            let nut = Profile::default()
                .run(0.01, &[[0.0, y], [0.0033, y]])
                .run(0.01, &[[0.0040, y + 0.0006], [0.0040, y + 0.0030]])
                .run(0.01, &[[0.0033, y + 0.0036], [0.0, y + 0.0036]]);
            let turn = DQuat::from_rotation_y(0.7 * i as f64 + 31.0 * y);
            brass(
                model,
                lathe(&nut.points, 6, false).place(|p| turn * p + out * CAGE),
            );
        }
    }
}

fn bonnet(model: &mut Model) {
    let shell = Profile::default()
        .run(
            0.0014,
            &[
                [0.0378, BONNET],
                [0.0392, 0.1385],
                [0.0388, 0.1402],
                [0.0368, 0.1412],
            ],
        )
        .run(
            0.0014,
            &[[0.0368, 0.1412], [0.0357, 0.1560], [0.0347, 0.1720]],
        )
        .run(
            0.0014,
            &[
                [0.0347, 0.1720],
                [0.0372, 0.1732],
                [0.0378, 0.1748],
                [0.0365, 0.1765],
            ],
        )
        .run(
            0.0016,
            &[
                [0.0365, 0.1765],
                [0.0325, 0.1800],
                [0.0290, 0.1862],
                [0.0215, 0.1925],
                [0.0120, 0.1955],
                [0.0, 0.1962],
            ],
        );
    let key = text_key("bonnet");
    let bent = lathe(&shell.points, 96, false).bend(|p| {
        let out = DVec3::new(p.x, 0.0, p.z).normalize_or_zero();
        let wave = 0.0005 * noise(key, p / 0.02) * ramp(0.139, 0.15, p.y);
        dented(&DENTS, p + out * wave)
    });
    let [_, pierced] = bent.with_normals(CREASE).cut(vents);
    model.paint(&IRON, &pierced, black);

    // The gauze within, so that the vents do not show through to the sky
    let gauze = Profile::default().run(
        0.004,
        &[
            [0.0300, 0.1375],
            [0.0290, 0.1760],
            [0.0240, 0.1830],
            [0.0, 0.1860],
        ],
    );
    let gauze = lathe(&gauze.points, 24, false).with_normals(CREASE);
    model.paint(&IRON, &gauze, |_| color(0.016, 0.014, 0.013));
}

/// Above zero in the holes of the bonnet, metres: upright slots in two staggered rows, round holes
/// in the crown.
fn vents(p: DVec3) -> f64 {
    let turn = libm::atan2(p.x, p.z);
    let radius = (p.x * p.x + p.z * p.z).sqrt();
    // Rows: count, height of the middle, half height beyond the round ends, radius of the ends,
    // shift
    let rows = [
        (12.0, 0.1475, 0.0016, 0.0022, 0.0),
        (12.0, 0.1625, 0.0042, 0.0019, 0.5),
        (8.0, 0.1850, 0.0, 0.0030, 0.25),
    ];
    let mut most = f64::NEG_INFINITY;
    for (count, middle, half, end, shift) in rows {
        let step = TAU / count;
        let cell = turn / step - shift;
        let along = (cell - libm::round(cell)) * step * radius;
        let above = ((p.y - middle).abs() - half).max(0.0);
        most = most.max(end - (along * along + above * above).sqrt());
    }
    most
}

fn iron(model: &mut Model, surface: Surface) {
    model.paint(&IRON, &surface.with_normals(CREASE), black);
}

/// Blacking over iron: worn to grey on edges and knocks, rust from below and round the holes.
fn black(v: &Vertex) -> Color {
    let p = v.rest;
    let key = text_key("iron");
    let rub = fractal(key, p, 0.013);
    let radius = (p.x * p.x + p.z * p.z).sqrt();
    let edge = if p.y > 0.170 && p.y < 0.178 {
        ramp(0.0362, 0.0376, radius)
    } else if p.y < 0.1415 {
        ramp(0.0375, 0.039, radius)
    } else {
        0.0
    };
    let knock = DENTS.iter().fold(0.0, |most: f64, d| {
        let t = p.distance(DVec3::from_array(d.at)) / d.reach;
        most.max(ramp(1.0, 0.75, t) * ramp(0.3, 0.6, t))
    });
    let hole = ramp(-0.0020, 0.0, vents(p));
    let fine = noise(key ^ 1, p / 0.0025);
    let rust = ramp(
        0.05,
        0.6,
        fractal(key ^ 2, p, 0.018) + 0.5 * hole + 0.12 * fine,
    );
    let worn = (0.85 * edge + 0.6 * knock + 0.5 * ramp(0.3, 0.7, rub)) * (0.75 + 0.25 * fine);
    let c = BLACK * (1.0 + 0.25 * fine);
    c.lerp(RUST, 0.75 * rust).lerp(GREY, worn.clamp(0.0, 0.9))
}

fn hook(model: &mut Model) {
    // The swivel on the crown
    let swivel = Profile::default()
        .run(0.002, &[[0.0, 0.1945], [0.0075, 0.1945]])
        .run(
            0.0012,
            &[
                [0.0075, 0.1945],
                [0.0078, 0.1968],
                [0.0060, 0.1982],
                [0.0040, 0.1992],
                [0.0038, 0.2020],
                [0.0056, 0.2036],
                [0.0058, 0.2058],
                [0.0040, 0.2076],
                [0.0, 0.2082],
            ],
        );
    brass(model, lathe(&swivel.points, 24, false));

    // The hook hangs over a little to the side, as it came to rest
    let turn = DQuat::from_rotation_y(0.5) * DQuat::from_rotation_z(-0.16);
    let foot = DVec3::new(0.0, 0.2050, 0.0);
    let knots = [
        [0.0, 0.0],
        [0.0, 0.0075],
        [0.0050, 0.0125],
        [0.0150, 0.0200],
        [0.0175, 0.0310],
        [0.0110, 0.0425],
        [-0.0010, 0.0455],
        [-0.0120, 0.0400],
        [-0.0155, 0.0300],
        [-0.0150, 0.0235],
        [-0.0185, 0.0190],
    ]
    .map(|[x, y]| turn * DVec3::new(x, y, 0.0) + foot);
    let wire = tube(&spline(&knots, 0.0026), DVec3::Z, 11, |t| {
        // Drawn out to a point
        let r = 0.0026 - 0.0011 * ramp(0.75, 1.0, t);
        [0.8 * r, r]
    });
    iron(model, wire);
}
