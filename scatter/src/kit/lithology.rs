//! What a stone is made of, as a colour at each place in it.
//!
//! Albedos are linear. Ranges after measured ones of dry rock: basalt 0.05-0.10, granite 0.20-0.40,
//! limestone 0.35-0.60 (common practice, no source).

use glam::{DVec3, FloatExt};

use super::{Kind, draw::Draw, perlin::PerlinNoise};

/// A build of rock.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Fabric {
    /// Even, a little clouded.
    Massive,
    /// Cut by pale veins.
    Veined,
    /// Layered.
    Banded,
    /// Made of coarse grains, dark and pale.
    Granular,
}

/// One stone's rock.
pub(crate) struct Lithology {
    fabric: Fabric,
    base: DVec3,
    /// Colour of veins, pale bands and pale grains.
    pale: DVec3,
    /// Colour of stains in the hollows.
    stain: DVec3,
    texture: PerlinNoise,
    /// Unit direction across the layers and veins.
    across: DVec3,
    /// Unit direction across a second set of veins.
    across_too: DVec3,
    /// Number of layers per b-axis.
    bands: f64,
    contrast: f64,
    /// How pale each set of veins is drawn, 0..1.
    drawn: [f64; 2],
    /// Whether each face takes its own weathering.
    faceted: bool,
}

impl Lithology {
    /// The rock of a variant: one family a kind, with few strangers.
    pub(crate) fn of(kind: Kind, variant: u32, draw: &mut Draw) -> Self {
        // River stones: cool grey, some pale, few dark, brown or white. Broken rock: a warm
        // weathered grey.
        let greys: [DVec3; 4] = match kind {
            Kind::Rock => [
                DVec3::new(0.265, 0.245, 0.215),
                DVec3::new(0.225, 0.212, 0.190),
                DVec3::new(0.310, 0.285, 0.245),
                DVec3::new(0.195, 0.178, 0.155),
            ],
            _ => [
                DVec3::new(0.185, 0.200, 0.212),
                DVec3::new(0.150, 0.162, 0.172),
                DVec3::new(0.245, 0.255, 0.258),
                DVec3::new(0.205, 0.208, 0.202),
            ],
        };
        let strangers: [DVec3; 4] = [
            DVec3::new(0.235, 0.175, 0.115), // brown
            DVec3::new(0.082, 0.094, 0.092), // dark green-grey
            DVec3::new(0.520, 0.505, 0.465), // quartz
            DVec3::new(0.225, 0.150, 0.118), // rust red
        ];
        let mut base = match variant % 12 {
            // Rock of one outcrop has fewer strangers than a river's.
            4 => strangers[1],
            7 if kind == Kind::Rock => DVec3::new(0.215, 0.175, 0.132),
            7 => strangers[0],
            10 if kind != Kind::Rock => strangers[2],
            11 if kind == Kind::Pebble => strangers[3],
            other => greys[other as usize % greys.len()],
        };
        base *= draw.range(0.84, 1.18);
        let fabric = match (variant * 7 + 3) % 12 {
            // As many again get veins as fine as they are in pictures.
            0 => Fabric::Veined,
            1..=4 => Fabric::Banded,
            5..=6 => Fabric::Granular,
            _ => Fabric::Massive,
        };
        let across = draw.direction();
        Self {
            fabric,
            base,
            pale: DVec3::new(0.56, 0.545, 0.505) * draw.range(0.85, 1.0),
            stain: match kind {
                Kind::Rock => DVec3::new(0.20, 0.150, 0.095),
                _ => DVec3::new(0.125, 0.122, 0.112),
            },
            texture: PerlinNoise::new(draw.seed()),
            across,
            across_too: (across.cross(draw.direction()) + across * draw.range(-0.5, 0.5))
                .normalize_or(DVec3::X),
            bands: draw.range(3.5, 6.5),
            contrast: draw.range(0.5, 1.0),
            drawn: [(); 2].map(|()| draw.range(0.25, 0.95)),
            faceted: kind == Kind::Rock,
        }
    }

    /// The veins that cut the stone.
    pub(crate) fn veins(&self) -> Vec<Vein<'_>> {
        if self.fabric != Fabric::Veined {
            return Vec::new();
        }
        let mut veins = vec![Vein {
            rock: self,
            across: self.across,
            at: 0.08,
            drawn: self.drawn[0],
        }];
        if self.contrast > 0.7 && !self.faceted {
            veins.push(Vein {
                rock: self,
                across: self.across_too,
                at: -0.15,
                drawn: self.drawn[1],
            });
        }
        veins
    }

    /// How pale the layer at a place is, from -1 for the darkest to 1 for the palest; 0 in rock
    /// without layers. The place is in b-axes, from anywhere in the stone.
    pub(crate) fn layer(&self, p: DVec3) -> f64 {
        if self.fabric != Fabric::Banded {
            return 0.0;
        }
        let t = &self.texture;
        let warp = 0.16 * t.fractal(p * 1.7 + DVec3::splat(11.0), 2, 0.5);
        let phase = (p.dot(self.across) + warp) * self.bands;
        // Beds of unlike thickness, with laminae in them.
        let bed = t.at(DVec3::new(phase, 3.3, 7.1));
        let lamina = t.at(DVec3::new(phase * 2.3, 9.4, 1.2));
        (3.2 * self.contrast * (bed + 0.6 * lamina)).clamp(-1.0, 1.0)
    }

    /// Linear colour at a place given in b-axes, where the surface stands out from its surroundings
    /// by `relief` (a share of the mesh's own spacing), on the face of number `face`, in a layer as
    /// [`Self::layer`] gives it. `veined` is how pale the vein there is drawn, 0 off it.
    ///
    /// Only what is broader than the mesh's spacing can be drawn: grains and speckle would be as
    /// large as the stone's triangles.
    pub(crate) fn color(
        &self,
        p: DVec3,
        relief: f64,
        face: usize,
        veined: f64,
        layer: f64,
    ) -> DVec3 {
        let t = &self.texture;
        // Clouds: a tenth or so within a stone, much less than between stones.
        let cloud = t.fractal(p * 2.1, 2, 0.55);
        let mut color = self.base * (1.0 + 0.22 * cloud);
        match self.fabric {
            Fabric::Massive | Fabric::Veined => {}
            Fabric::Banded => color *= 1.0 + 0.45 * layer,
            // Dark and pale grains, seen together.
            Fabric::Granular => color = color.lerp(self.pale, 0.12 * self.contrast),
        }
        color = color.lerp(self.pale, 0.9 * veined);
        if self.faceted {
            // A weathered face and a fresh one.
            let fresh = t.at(DVec3::new(face as f64 * 1.37 + 0.5, 0.3, 0.7));
            color *= 1.0 + 0.3 * fresh;
            let patina = t
                .fractal(p * 1.4 + DVec3::splat(23.0), 3, 0.6)
                .smoothstep(0.05, 0.6);
            color = color.lerp(self.stain, 0.45 * patina);
        }
        // Dust and dirt stay in hollows; edges are rubbed pale.
        let hollow = (-relief).smoothstep(0.0, 0.22);
        let edge = relief.smoothstep(0.12, 0.5);
        color = color.lerp(self.stain * 0.8, 0.5 * hollow);
        color *= 1.0 + 0.22 * edge;
        // Natural rock keeps within these albedos.
        color.clamp(DVec3::splat(0.04), DVec3::splat(0.62))
    }
}

/// A pale vein: a sheet through the stone, not quite plane.
pub(crate) struct Vein<'a> {
    rock: &'a Lithology,
    across: DVec3,
    at: f64,
    /// How pale it is drawn, 0..1: a line of vertices is as wide as the mesh makes it, so a
    /// narrower vein is a fainter one.
    pub(crate) drawn: f64,
}

impl Vein<'_> {
    /// How far a place is from the sheet's middle, with a sign for its side. Both in b-axes.
    pub(crate) fn offset(&self, p: DVec3) -> f64 {
        // The stone stands on y = 0: its middle is about 0.35 b up.
        let p = p - DVec3::new(0.0, 0.35, 0.0);
        p.dot(self.across) - self.at + 0.10 * self.rock.texture.at(p * 1.9 + DVec3::splat(2.0))
    }
}
