//! What a path of light brought, in the parts that a filter treats apart.

use glam::Vec3A;

/// What a path of light brought.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Followed {
    /// Radiance of what is not a surface: the sky where nothing stands before it, and haze.
    pub(super) sky: Vec3A,
    /// Radiance of the surface that is seen, by what comes straight from sun and lamps.
    pub(super) straight: Vec3A,
    /// Its radiance by what bounced, and by the sky.
    pub(super) bounced: Vec3A,
    /// The surface that is seen; through glass, the last one.
    pub(super) seen: Option<SeenSurface>,
}

/// What a filter needs of a surface.
#[derive(Debug, Clone, Copy)]
pub(super) struct SeenSurface {
    /// Linear base colour.
    pub(super) base: Vec3A,
    /// Unit shading normal.
    pub(super) normal: Vec3A,
    /// From the lens, metres.
    pub(super) distance: f32,
}

impl Followed {
    /// All of it.
    pub(super) fn light(&self) -> Vec3A {
        self.sky + self.straight + self.bounced
    }

    /// Adds light off the surface of this order, 0 for the one that is seen; over others it is
    /// limited to the maximum brightness of a bounce.
    pub(super) fn off_surface(&mut self, order: u32, light: Vec3A, limit: Vec3A) {
        if order == 0 {
            self.straight += light;
        } else {
            self.bounced += light.min(limit);
        }
    }

    /// Adds light from where nothing stands, met after so many steps.
    pub(super) fn off_sky(&mut self, [order, step]: [u32; 2], light: Vec3A, limit: Vec3A) {
        match (order, step) {
            (_, 0) => self.sky += light,
            // Through glass
            (0, _) => self.bounced += light,
            (_, _) => self.bounced += light.min(limit),
        }
    }

    /// The same through haze, which does to each light what `haze` does.
    pub(super) fn hazed(self, haze: impl Fn(Vec3A) -> Vec3A) -> Self {
        let veil = haze(Vec3A::ZERO);
        Self {
            sky: haze(self.sky),
            straight: haze(self.straight) - veil,
            bounced: haze(self.bounced) - veil,
            seen: self.seen,
        }
    }
}
