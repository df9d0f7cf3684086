//! A camping kettle: enamel on steel that has been over many fires and dropped more than once.

use glam::{DQuat, DVec3};
use scatter::random::text_key;

use crate::curve::spline;
use crate::lathe::{Profile, lathe};
use crate::model::{Model, Stuff};
use crate::surface::{Surface, Vertex};
use crate::sweep::{pipe, tube};
use crate::wear::{Color, Dent, color, dented, fractal, noise, ramp};

const ENAMEL: Stuff = Stuff {
    name: "enamel",
    roughness: 0.28,
    metallic: 0.0,
    two_sided: false,
};
const SOOT: Stuff = Stuff {
    name: "sooted enamel",
    roughness: 0.85,
    metallic: 0.0,
    two_sided: false,
};
const CHIPPED: Stuff = Stuff {
    name: "bared steel",
    roughness: 0.7,
    metallic: 0.35,
    two_sided: false,
};
const WIRE: Stuff = Stuff {
    name: "wire",
    roughness: 0.5,
    metallic: 0.85,
    two_sided: false,
};
const WOOD: Stuff = Stuff {
    name: "handle wood",
    roughness: 0.6,
    metallic: 0.0,
    two_sided: false,
};

const BLUE: Color = color(0.045, 0.150, 0.190);
const TRIM: Color = color(0.016, 0.019, 0.024);
const BLACK: Color = color(0.012, 0.011, 0.010);
const RUST: Color = color(0.190, 0.062, 0.020);
const DARK_STEEL: Color = color(0.050, 0.044, 0.040);

/// Faces that meet flatter than this stay smooth: cosine of 40 degrees.
const CREASE: f64 = 0.766;

/// Where the bail's ears sit: distance from the axis and height, metres.
const EAR: [f64; 2] = [0.0635, 0.1165];
/// The bail has fallen back this far from upright, radians (38 degrees).
const BAIL_LEAN: f64 = 0.663;

const DENTS: [Dent; 5] = [
    // The big one: dropped on a stone
    Dent {
        at: [-0.052, 0.058, 0.072],
        push: [0.6, 0.1, -0.8],
        reach: 0.034,
        depth: 0.0085,
    },
    Dent {
        at: [0.040, 0.030, 0.080],
        push: [-0.4, 0.1, -0.9],
        reach: 0.020,
        depth: 0.0035,
    },
    Dent {
        at: [0.012, 0.104, 0.071],
        push: [-0.1, -0.6, -0.7],
        reach: 0.017,
        depth: 0.0030,
    },
    // Its foot took a corner
    Dent {
        at: [-0.020, 0.006, 0.076],
        push: [0.2, 0.5, -0.9],
        reach: 0.020,
        depth: 0.0042,
    },
    Dent {
        at: [-0.060, 0.080, -0.055],
        push: [0.7, -0.2, 0.6],
        reach: 0.030,
        depth: 0.0055,
    },
];

/// The kettle: spout toward +x, the side with the large dent toward +z.
pub(crate) fn kettle() -> Model {
    let mut model = Model::default();
    enamelled(&mut model, body(), &chips_of_body);
    enamelled(&mut model, spout(), &chips_of_spout);
    enamelled(&mut model, lid(), &chips_of_lid);
    enamelled(&mut model, knob(), &|p| spots("knob", p, 0.006) - 0.35);
    handle(&mut model);
    model
}

fn body() -> Surface {
    let profile = Profile::default()
        .run(0.014, &[[0.0, 0.004], [0.055, 0.004]])
        .run(0.003, &[[0.055, 0.004], [0.064, 0.0028], [0.067, 0.0]])
        .run(
            0.0022,
            &[
                [0.067, 0.0],
                [0.0755, 0.0008],
                [0.0800, 0.0048],
                [0.0795, 0.0090],
                [0.0772, 0.0112],
            ],
        )
        .run(
            0.0026,
            &[
                [0.0772, 0.0112],
                [0.0850, 0.0195],
                [0.0893, 0.0360],
                [0.0885, 0.0560],
                [0.0825, 0.0800],
                [0.0715, 0.1010],
                [0.0590, 0.1160],
                [0.0525, 0.1225],
                [0.0508, 0.1270],
            ],
        )
        .run(
            0.0019,
            &[
                [0.0508, 0.1270],
                [0.0535, 0.1285],
                [0.0550, 0.1310],
                [0.0540, 0.1336],
                [0.0510, 0.1345],
                [0.0485, 0.1325],
            ],
        )
        .run(0.01, &[[0.0485, 0.1325], [0.0470, 0.120]])
        .run(0.05, &[[0.0470, 0.120], [0.0, 0.120]]);
    let key = text_key("body");
    lathe(&profile.points, 112, false).bend(|p| {
        // No sheet is true: soft waves of a millimetre, and out of round
        let out = DVec3::new(p.x, 0.0, p.z).normalize_or_zero();
        let free = ramp(0.004, 0.03, p.y);
        let wave = 0.0009 * noise(key, p / 0.045) * free;
        let oval = 1.0 + 0.008 * free * (p.x * p.x - p.z * p.z) / (p.x * p.x + p.z * p.z).max(1e-9);
        dented(&DENTS, p * DVec3::new(oval, 1.0, oval) + out * wave)
    })
}

fn spout() -> Surface {
    let path = spline(
        &[
            DVec3::new(0.066, 0.046, 0.0),
            DVec3::new(0.086, 0.053, 0.0),
            DVec3::new(0.103, 0.072, 0.0),
            DVec3::new(0.1125, 0.096, 0.0005),
            DVec3::new(0.123, 0.117, 0.0012),
            DVec3::new(0.137, 0.1315, 0.002),
        ],
        0.0043,
    );
    let dent = [Dent {
        at: [0.106, 0.078, 0.014],
        push: [-0.1, 0.1, -1.0],
        reach: 0.015,
        depth: 0.003,
    }];
    pipe(&path, DVec3::NEG_X, 40, 0.0012, |t| {
        // A wide root, a narrow neck, a lip turned out and rolled
        let root = ramp(0.45, 0.0, t);
        let lip = ramp(0.90, 0.985, t);
        let r = 0.0170 - 0.0072 * ramp(0.0, 0.8, t) + 0.0022 * lip;
        let bead = 0.0006 * ramp(0.95, 0.98, t);
        [
            r * (1.0 + 0.75 * root) + bead,
            r * (1.0 + 0.12 * root) + bead,
        ]
    })
    .bend(|p| dented(&dent, p))
}

fn lid() -> Surface {
    let profile = Profile::default()
        .run(0.02, &[[0.0, 0.1350], [0.0525, 0.1350]])
        .run(
            0.0017,
            &[
                [0.0525, 0.1350],
                [0.0560, 0.1349],
                [0.0572, 0.1363],
                [0.0558, 0.1378],
                [0.0520, 0.1383],
            ],
        )
        .run(
            0.0024,
            &[
                [0.0520, 0.1383],
                [0.0490, 0.1408],
                [0.0445, 0.1425],
                [0.0400, 0.1431],
                [0.0370, 0.1450],
                [0.0290, 0.1492],
                [0.0180, 0.1525],
                [0.0080, 0.1540],
                [0.0, 0.1543],
            ],
        );
    let dent = [Dent {
        at: [0.022, 0.150, 0.026],
        push: [-0.2, -1.0, -0.3],
        reach: 0.017,
        depth: 0.0032,
    }];
    let key = text_key("lid");
    lathe(&profile.points, 80, false).bend(|p| {
        let edge = ramp(0.03, 0.057, (p.x * p.x + p.z * p.z).sqrt());
        askew(dented(&dent, p) + DVec3::Y * (0.0006 * edge * noise(key, p / 0.035)))
    })
}

/// The lid does not sit quite home.
fn askew(p: DVec3) -> DVec3 {
    let pivot = DVec3::new(-0.05, 0.135, 0.0);
    let tilt = DQuat::from_rotation_z(0.028) * DQuat::from_rotation_x(0.012);
    tilt * (p - pivot) + pivot + DVec3::new(0.0012, 0.0002, 0.0008)
}

fn knob() -> Surface {
    let profile = Profile::default().run(
        0.0017,
        &[
            [0.0, 0.1530],
            [0.0100, 0.1540],
            [0.0092, 0.1556],
            [0.0052, 0.1570],
            [0.0047, 0.1600],
            [0.0060, 0.1630],
            [0.0118, 0.1662],
            [0.0136, 0.1705],
            [0.0122, 0.1748],
            [0.0070, 0.1775],
            [0.0, 0.1783],
        ],
    );
    lathe(&profile.points, 30, false).bend(askew)
}

/// Paints a surface as enamel, sooted where the fire reached, with chips where `chips` (of the
/// rest) is above zero.
fn enamelled(model: &mut Model, surface: Surface, chips: &dyn Fn(DVec3) -> f64) {
    let [bare, whole] = surface.with_normals(CREASE).cut(chips);
    let [black, clean] = whole.cut(|p| soot(p) - 0.55);
    let key = text_key("chips");
    model.paint(&CHIPPED, &bare, |v| {
        let p = v.rest;
        let deep = ramp(0.0, 0.16, chips(p));
        let rust = ramp(-0.25, 0.45, fractal(key, p, 0.008)) * (1.0 - 0.5 * deep);
        let ground = DARK_STEEL.lerp(RUST, (0.2 + 0.8 * rust) * (1.0 - 0.75 * soot(p)));
        ground * (0.85 + 0.3 * noise(key, p / 0.0021))
    });
    model.paint(&SOOT, &black, |v| enamel(v, chips(v.rest)));
    model.paint(&ENAMEL, &clean, |v| enamel(v, chips(v.rest)));
}

fn enamel(v: &Vertex, chip: f64) -> Color {
    let p = v.rest;
    let radius = (p.x * p.x + p.z * p.z).sqrt();
    // Black trim: the rolled rim, the lid's edge and knob, the spout's lip
    let lid_edge = p.y > 0.1345 && p.y < 0.1384 && radius > 0.052 && p.x < 0.10;
    let rim = p.y > 0.1268 && radius < 0.056;
    let trim = (rim && p.y < 0.1349) || lid_edge || p.y > 0.1535 || on_lip(p) > 0.0;
    let fade = 0.5 + 0.5 * fractal(text_key("fade"), p, 0.05);
    let mut c = if trim {
        TRIM
    } else {
        BLUE * (0.88 + 0.28 * fade)
    };
    // Sun and scouring have dulled what looks up
    c = c.lerp(
        color(0.16, 0.25, 0.27),
        0.22 * ramp(0.2, 1.0, v.normal.y) * fade,
    );
    // Dried drips under the rim and the spout
    let drip = noise(
        text_key("drip"),
        DVec3::new(p.x / 0.006, p.y / 0.09, p.z / 0.006),
    );
    c = c.lerp(
        color(0.20, 0.19, 0.17),
        0.20 * ramp(0.15, 0.55, drip) * ramp(0.03, 0.10, p.y),
    );
    // Rust has crept out of the chips
    let creep = ramp(-0.14, 0.0, chip) * (0.55 + 0.4 * noise(text_key("creep"), p / 0.005));
    c = c.lerp(RUST * 0.7, creep.clamp(0.0, 0.8));
    let s = soot(p);
    let brown = color(0.055, 0.034, 0.020);
    c = c
        .lerp(brown, 0.55 * ramp(0.05, 0.45, s))
        .lerp(BLACK, ramp(0.2, 0.75, s));
    c
}

/// How sooted a place is, 0..=1: the fire licked up in tongues, higher on the side away from the
/// spout.
fn soot(p: DVec3) -> f64 {
    let key = text_key("soot");
    let tongues = 0.032 * noise(key, DVec3::new(p.x / 0.022, p.y / 0.11, p.z / 0.022))
        + 0.009 * noise(key ^ 1, DVec3::new(p.x / 0.007, p.y / 0.03, p.z / 0.007));
    let side = -0.12 * p.x;
    let grain = 0.004 * noise(key ^ 2, p / 0.003);
    ramp(0.066, 0.012, p.y - tongues - side - grain)
}

/// Above zero on the spout's lip, growing outwards, metres.
fn on_lip(p: DVec3) -> f64 {
    p.dot(DVec3::new(0.70, 0.714, 0.0)) - 0.1868
}

/// Blotches of about `size` metres, -1..=1.
fn spots(name: &str, p: DVec3, size: f64) -> f64 {
    fractal(text_key(name), p, size)
}

/// Chips where the body meets the world: its foot, its belly, the floor and rim of dents.
fn chips_of_body(p: DVec3) -> f64 {
    let foot = 0.30 * ramp(0.020, 0.006, p.y);
    let rim = 0.26 * ramp(0.1275, 0.131, p.y);
    let belly = 0.06 * ramp(0.020, 0.0, (p.y - 0.040).abs());
    let dents = DENTS.iter().fold(0.0, |most: f64, dent| {
        let t = p.distance(DVec3::from_array(dent.at)) / dent.reach;
        most.max(dent.depth * 55.0 * ramp(0.75, 0.1, t))
    });
    let inside = if p.y > 0.11 && p.y < 0.1335 && p.x * p.x + p.z * p.z < 0.0493 * 0.0493 {
        -1.0
    } else {
        0.0
    };
    spots("body chips", p, 0.017) - 0.66 + foot + rim + belly + dents.min(0.42) + inside
}

fn chips_of_spout(p: DVec3) -> f64 {
    spots("spout chips", p, 0.010) - 0.62 + 0.45 * ramp(-0.004, 0.004, on_lip(p))
}

fn chips_of_lid(p: DVec3) -> f64 {
    let radius = (p.x * p.x + p.z * p.z).sqrt();
    spots("lid chips", p, 0.011) - 0.64 + 0.30 * ramp(0.049, 0.056, radius)
}

/// A place in the bail's plane: sideways and up from the line between the ears.
fn in_bail([side, up]: [f64; 2]) -> DVec3 {
    DVec3::new(
        side,
        EAR[1] + up * libm::cos(BAIL_LEAN),
        -up * libm::sin(BAIL_LEAN),
    )
}

fn handle(model: &mut Model) {
    // Bent out of true: the left shoulder has sagged
    let knots = [
        [-0.0735, -0.0075],
        [-0.0690, -0.0105],
        [-0.0655, -0.0050],
        [-0.0675, 0.0040],
        [-0.0765, 0.0250],
        [-0.0775, 0.0500],
        [-0.0660, 0.0760],
        [-0.0480, 0.0905],
        [-0.0300, 0.0950],
        [0.0, 0.0975],
        [0.0310, 0.0965],
        [0.0500, 0.0925],
        [0.0680, 0.0790],
        [0.0785, 0.0535],
        [0.0765, 0.0250],
        [0.0675, 0.0040],
        [0.0655, -0.0050],
        [0.0690, -0.0105],
        [0.0735, -0.0075],
    ]
    .map(in_bail);
    let wire = tube(&spline(&knots, 0.0032), DVec3::Z, 10, |_| [0.0022; 2]);
    metal(model, wire);

    // The ears: plates bent up from the shoulder, each with its loop
    for side in [-1.0, 1.0] {
        let loop_path: Vec<DVec3> = [
            [0.0555, 0.1160],
            [0.0580, 0.1225],
            [0.0640, 0.1250],
            [0.0705, 0.1210],
            [0.0710, 0.1140],
            [0.0660, 0.1060],
        ]
        .map(|[x, y]| DVec3::new(side * x, y, 0.0))
        .to_vec();
        metal(
            model,
            tube(&spline(&loop_path, 0.0026), DVec3::Z, 12, |_| {
                [0.0058, 0.0013]
            }),
        );
    }

    // The grip: a turned spindle, worn thin where the hand is
    let grip = [[-0.0335, 0.0944], [0.0, 0.0975], [0.0340, 0.0962]].map(in_bail);
    let spindle = tube(&spline(&grip, 0.0011), DVec3::Z, 22, |t| {
        let groove = [0.12, 0.17, 0.83, 0.88]
            .iter()
            .map(|g| 0.0007 * ramp(0.013, 0.003, (t - g).abs()))
            .sum::<f64>();
        let swell = 1.0 - (2.0 * t - 1.0) * (2.0 * t - 1.0);
        let end = 0.0022 * (ramp(0.035, 0.0, t) + ramp(0.965, 1.0, t));
        [0.0078 + 0.0021 * swell - groove - end; 2]
    })
    .bend(|p| p + DVec3::Y * (0.0003 * noise(text_key("grip"), p / 0.012)))
    .with_normals(CREASE);
    model.paint(&WOOD, &spindle, |v| {
        let p = v.rest;
        let grain = noise(
            text_key("grain"),
            DVec3::new(p.x / 0.028, p.y / 0.0016, p.z / 0.0016),
        );
        let t = p.x.abs() / 0.034;
        let wood = color(0.25, 0.125, 0.052) * (1.0 + 0.45 * grain);
        // Pale where hands rub, dark and charred at the ends
        let worn = wood.lerp(color(0.36, 0.22, 0.11), 0.4 * ramp(0.7, 0.2, t));
        worn.lerp(
            color(0.022, 0.016, 0.012),
            ramp(0.68, 1.0, t + 0.12 * grain),
        )
    });
}

fn metal(model: &mut Model, surface: Surface) {
    let key = text_key("wire");
    model.paint(&WIRE, &surface.with_normals(CREASE), |v| {
        let rust = ramp(-0.15, 0.5, fractal(key, v.rest, 0.011));
        color(0.20, 0.19, 0.18).lerp(RUST * 0.8, 0.85 * rust)
    });
}
