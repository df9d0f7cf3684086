//! From the document to the brief.

use super::camera::Camera;
use super::field::{Field, Mask, MaskPlacement, RelationTarget, Smallest};
use super::hand::{Clearing, Pin};
use super::layer::{Carpet, Grains, Layer, LayerIndex, LayerKind, Shade};
use super::mix::{Mix, part_cover};
use super::pass::{Amount, Clumps, Pass, Place};
use super::place::{SoilLook, Weathering, Wet};
use super::rest::{Heading, Lean, Rest, Toward};
use super::scene::{
    Ground, GroundMesh, GroundShape, HeightImage, Hero, Lamp, Light, Line, LineIndex, Press,
};
use super::{Brief, CARPET, PINS, SHADE};
use crate::color::{self, LayerTone};
use crate::error::Result;
use crate::shot::{self, Gather, PassSizes, Shares, Shot, TILE_VARIANTS};
use crate::size::SizeLaw;
use crate::units::{Angle, Length};

impl Shot {
    /// What the document asks for.
    ///
    /// # Errors
    /// As [`Shot::check`].
    pub fn brief(&self) -> Result<Brief> {
        self.check()?;
        Ok(Brief {
            name: self.name.clone(),
            take: self.take,
            cameras: self.cameras.iter().map(Camera::from).collect(),
            resolve: self.resolve,
            sketch: false,
            ground: (&self.ground).into(),
            heroes: self.hero.iter().map(Hero::from).collect(),
            light: (&self.light).into(),
            wet: self.wet.map(|wet| Wet {
                level: wet.level.map(Length::metres),
                ragged: wet.ragged.metres(),
                hollows: wet.hollows,
                dew: wet.dew,
            }),
            weathering: self.weathering.map(|weathering| Weathering {
                lichen: weathering.lichen,
                dust: weathering.dust,
            }),
            layers: self.layers(),
            mixes: self
                .mixes
                .iter()
                .map(|(name, mix)| (name.clone(), mix.into()))
                .collect(),
            removed: self
                .remove
                .iter()
                .filter_map(|id| shot::piece_id(id))
                .collect(),
            budget: self.budget,
        })
    }

    fn layers(&self) -> Vec<Layer> {
        let passes = self.passes.iter().enumerate().map(|(index, pass)| {
            let kind = LayerKind::Pass(Box::new(self.pass(index, pass)));
            (pass.name.as_str(), kind)
        });
        let pins = (!self.pins.is_empty())
            .then(|| LayerKind::Pins(self.pins.iter().map(Pin::from).collect()));
        let carpet = self.carpet.as_ref().and_then(carpet);
        let shade = self.shade.as_ref().map(|s| LayerKind::Shade(s.into()));
        let others = [
            (PINS, pins),
            (CARPET, carpet.map(LayerKind::Carpet)),
            (SHADE, shade),
        ];
        let others = others
            .into_iter()
            .filter_map(|(name, kind)| Some((name, kind?)));
        passes
            .chain(others)
            .map(|(name, kind)| Layer {
                name: name.to_owned(),
                held: self.takes.get(name).copied(),
                tone: self.tone(name, &kind),
                kind,
            })
            .collect()
    }

    /// What colours the pieces of a layer take.
    fn tone(&self, name: &str, kind: &LayerKind) -> Option<LayerTone> {
        match kind {
            LayerKind::Pass(_) => {
                let pass = self.passes.iter().find(|p| p.name == name);
                let pass = pass.filter(|p| p.grows_stones())?;
                pass.stone.or(self.stone).map(LayerTone::Stone)
            }
            LayerKind::Pins(_) => self.stone.map(LayerTone::Stone),
            LayerKind::Carpet(carpet) => {
                let grown = carpet.grows_stones();
                // It stands for the soil, if that has a colour
                let soil = self.ground.soil.and_then(|soil| soil.colour);
                let soil = soil.map(color::SoilTone::albedo);
                let even = soil.or_else(|| self.stone.map(color::mean));
                even.filter(|_| grown).map(LayerTone::Even)
            }
            LayerKind::Shade(_) => None,
        }
    }

    fn pass(&self, index: usize, pass: &shot::Pass) -> Pass {
        let (sizes, amount) = self.asked(pass);
        let patches = &mut 0;
        let refers = |what: &str| self.referred(index, what);
        let fields = pass.gather.iter();
        let line = |name: &str| self.line(name);
        let fields = fields.filter_map(|g| Field::of(g, patches, refers, line));
        let meant = |c: &&shot::Clear| c.passes().is_empty() || c.passes().contains(&pass.name);
        Pass {
            pieces: pass.pieces.clone(),
            lies: pass.lies,
            place: match pass.place {
                shot::Place::Packed => Place::Packed { roll: pass.rolls() },
                shot::Place::Spaced => Place::Spaced,
                shot::Place::Strewn => Place::Strewn,
            },
            apart: pass.spacing * (1.0 - pass.overlap),
            sizes,
            stretch: pass.stretch,
            amount,
            mix: pass.sizes.part().map(|part| part.mix.clone()),
            clumps: pass.clumps.map(|c| Clumps {
                parents_per_m2: c.parents_per_m2,
                spread: c.spread.metres(),
                share: c.share,
            }),
            fields: fields.collect(),
            clear: self
                .clear
                .iter()
                .filter(meant)
                .map(Clearing::from)
                .collect(),
            rest: Rest {
                heading: pass.rest.heading.as_ref().and_then(|h| self.heading(h)),
                ..(&pass.rest).into()
            },
        }
    }

    /// The line of a name.
    fn line(&self, name: &str) -> Option<LineIndex> {
        let at = self.ground.lines.keys().position(|n| n == name)?;
        Some(LineIndex::of(at))
    }

    fn heading(&self, heading: &shot::Heading) -> Option<Heading> {
        let toward = match (&heading.along, heading.toward) {
            (Some(name), _) => {
                let turn = heading.turn.unwrap_or_default();
                Toward::Line(self.line(name)?, turn.radians())
            }
            (None, toward) => Toward::Azimuth(toward?.radians()),
        };
        Some(Heading {
            toward,
            spread: heading.spread.radians(),
        })
    }

    /// The size law and the amount of a pass; if it takes a part of a mix, both follow from that.
    fn asked(&self, pass: &shot::Pass) -> (SizeLaw, Amount) {
        match &pass.sizes {
            PassSizes::Own(sizes) => {
                let amount = match (pass.cover, pass.per_m2) {
                    (Some(cover), _) => Amount::Cover(cover),
                    (None, count) => Amount::PerSquareMetre(count.unwrap_or(0.0)),
                };
                (sizes.law(), amount)
            }
            // A checked shot has the mix
            PassSizes::Part(part) => {
                let mix = &self.mixes[&part.mix];
                let shares = Shares::new(mix);
                let clears = |other: &&shot::Pass| {
                    let mut fields = pass.gather.iter();
                    fields.any(|g| matches!(g, Gather::ClearOf(r) if r.what == other.name))
                };
                let cleared = self.passes.iter().filter(clears);
                let cleared = cleared
                    .filter_map(|other| other.sizes.part())
                    .filter(|other| other.mix == part.mix)
                    .map(|other| shares.of(other));
                let [from, to] = part.ends(mix).map(Length::metres);
                let cover = part_cover(mix.cover, shares.of(part), cleared.sum());
                (mix.sizes.law().cut(from, to), Amount::Cover(cover))
            }
        }
    }

    /// What the name `what` refers to in the pass at `index`.
    fn referred(&self, index: usize, what: &str) -> Option<RelationTarget> {
        if what == "hero" {
            return (!self.hero.is_empty()).then_some(RelationTarget::Heroes);
        }
        let at = self.passes[..index].iter().position(|p| p.name == what)?;
        Some(RelationTarget::Pass(LayerIndex::of(at)))
    }
}

fn metres<const N: usize>(lengths: [Length; N]) -> [f64; N] {
    lengths.map(Length::metres)
}

impl From<shot::Smallest> for Smallest {
    fn from(smallest: shot::Smallest) -> Self {
        match smallest {
            shot::Smallest::Share(share) => Self::Share(share),
            shot::Smallest::Length(length) => Self::Diameter(length.metres()),
        }
    }
}

impl From<&shot::Mask> for Mask {
    fn from(mask: &shot::Mask) -> Self {
        Self {
            file: mask.file.clone(),
            placement: match &mask.camera {
                Some(camera) => MaskPlacement::Frame(camera.clone()),
                None => MaskPlacement::Plan {
                    middle: metres(mask.at.unwrap_or_default()),
                    extent: metres(mask.extent.unwrap_or_default()),
                },
            },
            black: mask.black,
            white: mask.white,
            outside: mask.outside,
        }
    }
}

impl From<&shot::Mix> for Mix {
    fn from(mix: &shot::Mix) -> Self {
        Self {
            sizes: mix.sizes.law(),
            cover: mix.cover,
        }
    }
}

impl From<&shot::Clear> for Clearing {
    fn from(clear: &shot::Clear) -> Self {
        match clear {
            shot::Clear::Disc(disc) => Self::Disc {
                at: metres(disc.at),
                radius: disc.radius.metres(),
            },
            shot::Clear::Box(shape) => Self::Box {
                at: metres(shape.at),
                size: metres(shape.size),
                turn: shape.turn.radians(),
            },
            shot::Clear::Polygon(polygon) => {
                Self::Polygon(polygon.corners.iter().map(|c| metres(*c)).collect())
            }
        }
    }
}

impl From<&shot::Pin> for Pin {
    fn from(pin: &shot::Pin) -> Self {
        Self {
            piece: pin.piece.clone(),
            at: metres(pin.at),
            diameter: pin.diameter.metres(),
            heading: pin.heading.radians(),
            bury: pin.bury,
        }
    }
}

impl From<&shot::Rest> for Rest {
    fn from(rest: &shot::Rest) -> Self {
        Self {
            bury: rest.bury,
            // It may name a line, which the shot knows
            heading: None,
            tilt: rest.tilt.radians(),
            stand: rest.stand,
            on: rest.on,
            pose: rest.pose,
            lean: rest.lean.map(|l| Lean {
                from: l.from.radians(),
                dip: l.dip.radians(),
                spread: l.spread.radians(),
            }),
            wet: rest.wet,
        }
    }
}

/// The carpet of a checked document: it has a patch or sizes.
fn carpet(carpet: &shot::Carpet) -> Option<Carpet> {
    let grains = match (&carpet.patch, &carpet.sizes) {
        (Some(patch), _) => Grains::Patch(patch.clone()),
        (None, Some(sizes)) => Grains::Grown {
            kinds: carpet.grains.clone(),
            sizes: sizes.law(),
            variants: carpet.variants.unwrap_or(TILE_VARIANTS),
        },
        (None, None) => return None,
    };
    Some(Carpet {
        tile: carpet.side(),
        grains,
    })
}

impl From<&shot::Shade> for Shade {
    fn from(shade: &shot::Shade) -> Self {
        Self {
            lit: shade.lit,
            fleck: shade.fleck.metres(),
            softness: shade.softness.metres(),
            hero: shade.hero,
        }
    }
}

fn line((name, line): (&String, &shot::Line)) -> Line {
    Line {
        name: name.clone(),
        points: line.points.iter().map(|point| metres(*point)).collect(),
        smooth: line.smooth,
        closed: line.closed,
        press: line.press.map(|press| Press {
            depth: press.depth.metres(),
            width: press.width.metres(),
        }),
    }
}

impl From<&shot::Ground> for Ground {
    fn from(ground: &shot::Ground) -> Self {
        let terrain = match (&ground.image, &ground.mesh, &ground.relief, &ground.plane) {
            (Some(image), _, _, _) => GroundShape::Image(HeightImage {
                file: image.file.clone(),
                at: metres(image.at),
                extent: metres(image.extent),
                heights: image.heights.map(metres),
            }),
            (None, Some(mesh), _, _) => GroundShape::Mesh(GroundMesh {
                file: mesh.file.clone(),
                at: metres(mesh.at),
                turn: mesh.turn.radians(),
                scale: mesh.scale,
                steepest: mesh.steepest.radians(),
                under: mesh.under.map(Length::metres),
            }),
            (None, None, Some(r), _) => GroundShape::Relief {
                height: r.height.metres(),
                feature: r.feature.metres(),
                roughness: r.roughness,
                tilt: r.tilt.radians(),
                toward: r.toward.radians(),
            },
            (None, None, None, plane) => {
                let plane = plane.unwrap_or_default();
                GroundShape::Plane {
                    tilt: plane.tilt.radians(),
                    toward: plane.toward.radians(),
                }
            }
        };
        Self {
            terrain,
            extent: ground.extent.map(metres),
            lines: ground.lines.iter().map(line).collect(),
            look: ground.look,
            soil: ground.soil.map(|soil| SoilLook {
                albedo: soil.colour.map(color::SoilTone::albedo),
                grain: soil.grain.map(Length::metres),
            }),
        }
    }
}

impl From<&shot::Hero> for Hero {
    fn from(hero: &shot::Hero) -> Self {
        Self {
            file: hero.file.clone(),
            at: metres(hero.at),
            turn: Angle::radians(hero.turn),
            scale: hero.scale,
            clear: hero.clear.metres(),
            sink: hero.sink.metres(),
        }
    }
}

impl From<&shot::Light> for Light {
    fn from(light: &shot::Light) -> Self {
        Self {
            mood: light.mood,
            direction: light.direction(),
            lamp: light.lamp.map(|lamp| Lamp {
                position: metres(lamp.at),
                candela: lamp.candela,
                kelvin: lamp.kelvin,
            }),
        }
    }
}
