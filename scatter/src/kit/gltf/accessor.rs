//! Reading typed elements out of buffer views.

use gltf::json::accessor::{ComponentType, Type};
use gltf::json::{Accessor, Root};

use super::buffer::Buffers;
use super::{known, lookup};
use crate::error::{Error, Result};

/// Maximum number of elements of an accessor without bytes of its own. Its zeros cost a file
/// nothing, so they could claim any memory.
const MAX_UNBACKED: u64 = 1_000_000;

/// An accessor with what it refers to.
#[derive(Debug, Clone, Copy)]
pub(super) struct Elements<'a> {
    root: &'a Root,
    buffers: &'a Buffers<'a>,
    accessor: &'a Accessor,
    index: usize,
    component: ComponentType,
    kind: Type,
}

/// How the elements lie in their bytes.
struct StridedBytes<'a> {
    bytes: &'a [u8],
    stride: usize,
    size: usize,
    count: usize,
}

impl<'a> StridedBytes<'a> {
    fn element(&self, i: usize) -> &'a [u8] {
        let bytes = self.bytes.get(i * self.stride..).unwrap_or_default();
        bytes.get(..self.size).unwrap_or_default()
    }
}

impl<'a> Elements<'a> {
    /// The accessor that `place` refers to.
    pub(super) fn new(
        root: &'a Root,
        buffers: &'a Buffers<'a>,
        index: usize,
        place: &str,
    ) -> Result<Self> {
        let accessor = lookup(&root.accessors, index, "accessors", || place.to_owned())?;
        let component = known(
            accessor.component_type,
            || format!("accessors[{index}].componentType"),
            "one of 5120, 5121, 5122, 5123, 5125, 5126",
        )?;
        let kind = known(
            accessor.type_,
            || format!("accessors[{index}].type"),
            "one of SCALAR, VEC2, VEC3, VEC4, MAT2, MAT3, MAT4",
        )?;
        Ok(Self {
            root,
            buffers,
            accessor,
            index,
            component: component.0,
            kind,
        })
    }

    /// Whether it has no bytes but those of a sparse part: zeros elsewhere.
    pub(super) fn is_unbacked(&self) -> bool {
        self.accessor.buffer_view.is_none()
    }

    /// The number of elements that it states; not yet checked against its bytes.
    pub(super) fn count(&self) -> u64 {
        self.accessor.count.0
    }

    /// The type of an element.
    pub(super) fn kind(&self) -> Type {
        self.kind
    }

    /// Whether its numbers are floats.
    pub(super) fn is_float(&self) -> bool {
        self.component == ComponentType::F32
    }

    /// Vectors of `N` numbers: floats as they are, integers as they are or, if normalised, from -1
    /// or 0 to 1. A number that is not finite is an error. `place` is what refers to the accessor.
    pub(super) fn vectors<const N: usize>(&self, kind: Type, place: &str) -> Result<Vec<[f32; N]>> {
        if self.kind != kind || self.component == ComponentType::U32 {
            return Err(Error::input(
                place,
                format!(
                    "accessors[{}] holds {:?} of {:?}",
                    self.index, self.kind, self.component
                ),
                format!("it must hold {kind:?} of 32-bit floats, or of 8 or 16-bit integers"),
            ));
        }
        let width = self.component.size();
        let decode = |bytes: &[u8]| -> [f32; N] {
            let mut vector = [0.0; N];
            for (value, b) in vector.iter_mut().zip(bytes.chunks_exact(width)) {
                *value = self.number(b);
            }
            vector
        };
        let mut vectors: Vec<[f32; N]> = match self.layout(N)? {
            Some(layout) => (0..layout.count)
                .map(|i| decode(layout.element(i)))
                .collect(),
            None => vec![[0.0; N]; self.unbacked_count()?],
        };
        self.replace_sparse(&mut vectors, N, decode)?;
        if let Some(i) = vectors
            .iter()
            .position(|v| !v.iter().all(|c| c.is_finite()))
        {
            return Err(Error::input(
                place,
                format!("accessors[{}]: element {i} is not finite", self.index),
                "attributes hold finite numbers",
            ));
        }
        Ok(vectors)
    }

    /// Indices, all below `vertices`.
    pub(super) fn indices(&self, vertices: u64, place: &str) -> Result<Vec<u32>> {
        let unsigned = matches!(
            self.component,
            ComponentType::U8 | ComponentType::U16 | ComponentType::U32
        );
        if self.kind != Type::Scalar || !unsigned {
            return Err(Error::input(
                place,
                format!(
                    "accessors[{}] holds {:?} of {:?}",
                    self.index, self.kind, self.component
                ),
                "indices are scalars of 8, 16 or 32-bit unsigned integers",
            ));
        }
        let mut indices: Vec<u32> = match self.layout(1)? {
            Some(layout) => (0..layout.count)
                .map(|i| unsigned_number(layout.element(i)))
                .collect(),
            None => vec![0; self.unbacked_count()?],
        };
        self.replace_sparse(&mut indices, 1, unsigned_number)?;
        match indices.iter().position(|&i| u64::from(i) >= vertices) {
            None => Ok(indices),
            Some(at) => Err(Error::input(
                place,
                format!(
                    "index {} at position {at}, but there are {vertices} vertices",
                    indices[at]
                ),
                "indices are smaller than the number of vertices",
            )),
        }
    }

    /// Where the accessor's elements lie, every one of them inside its view; none if it has no
    /// view.
    fn layout(&self, components: usize) -> Result<Option<StridedBytes<'a>>> {
        let Some(view) = self.accessor.buffer_view else {
            return Ok(None);
        };
        let place = format!("accessors[{}]", self.index);
        let bytes = self.buffers.view(view.value(), &place)?;
        let size = components * self.component.size();
        // The view exists, for it has given its bytes.
        let stride = self.root.buffer_views[view.value()].byte_stride;
        let stride = stride.map_or(size, |s| s.0);
        let offset = self.accessor.byte_offset.map_or(0, |o| o.0);
        self.fit(&place, bytes, offset, size, stride).map(Some)
    }

    fn fit(
        &self,
        place: &str,
        bytes: &'a [u8],
        offset: u64,
        size: usize,
        stride: usize,
    ) -> Result<StridedBytes<'a>> {
        if stride < size {
            return Err(Error::input(
                place,
                format!("elements of {size} bytes lie {stride} bytes apart"),
                "byteStride is no less than the size of an element",
            ));
        }
        fit(bytes, offset, self.count(), size, stride).ok_or_else(|| {
            Error::input(
                place,
                format!(
                    "{} elements of {size} bytes, {stride} bytes apart from byte {offset} on, pass the end of a view of {} bytes",
                    self.count(),
                    bytes.len()
                ),
                "byteOffset + byteStride x (count - 1) + element size must not pass the view's byteLength",
            )
        })
    }

    /// The number of zeros in an accessor that has no view.
    fn unbacked_count(&self) -> Result<usize> {
        if self.count() > MAX_UNBACKED {
            return Err(Error::input(
                format!("accessors[{}].count", self.index),
                format!("{} elements without data of their own", self.count()),
                format!("at most {MAX_UNBACKED} are read; give the accessor a bufferView"),
            ));
        }
        Ok(self.count() as usize)
    }

    /// Puts the elements of the sparse part, where there is one, in their places.
    fn replace_sparse<T>(
        &self,
        elements: &mut [T],
        components: usize,
        decode: impl Fn(&[u8]) -> T,
    ) -> Result<()> {
        let Some(sparse) = &self.accessor.sparse else {
            return Ok(());
        };
        let place = format!("accessors[{}].sparse", self.index);
        if sparse.count.0 > self.count() {
            return Err(Error::input(
                format!("{place}.count"),
                format!(
                    "{} of {} elements are replaced",
                    sparse.count.0,
                    self.count()
                ),
                "a sparse part replaces each element once at most",
            ));
        }
        let indices_place = format!("{place}.indices");
        let width = known(
            sparse.indices.component_type,
            || format!("{indices_place}.componentType"),
            "one of 5121, 5123, 5125",
        )?;
        let width = match width.0 {
            ComponentType::U8 => 1,
            ComponentType::U16 => 2,
            _ => 4,
        };
        let part = |view: usize, offset: u64, size: usize, place: &str| {
            let bytes = self.buffers.view(view, place)?;
            fit(bytes, offset, sparse.count.0, size, size).ok_or_else(|| {
                Error::input(
                    place,
                    format!(
                        "{} elements of {size} bytes from byte {offset} on pass the end of a view of {} bytes",
                        sparse.count.0,
                        bytes.len()
                    ),
                    "the sparse part must lie inside its view",
                )
            })
        };
        let json = &sparse.indices;
        let indices = part(
            json.buffer_view.value(),
            json.byte_offset.0,
            width,
            &indices_place,
        )?;
        let size = components * self.component.size();
        let json = &sparse.values;
        let values_place = format!("{place}.values");
        let values = part(
            json.buffer_view.value(),
            json.byte_offset.0,
            size,
            &values_place,
        )?;
        let count = elements.len();
        let mut last = None;
        for i in 0..indices.count {
            let at = unsigned_number(indices.element(i)) as usize;
            if let Some(before) = last.replace(at).filter(|before| *before >= at) {
                return Err(Error::input(
                    indices_place,
                    format!("index {at} at position {i} follows {before}"),
                    "sparse indices rise strictly, each after the one before",
                ));
            }
            let Some(element) = elements.get_mut(at) else {
                return Err(Error::input(
                    indices_place,
                    format!("index {at}, but the accessor has {count} elements"),
                    "sparse indices are smaller than the accessor's count",
                ));
            };
            *element = decode(values.element(i));
        }
        Ok(())
    }

    /// One component as a number, by the specification's rules for normalised integers.
    fn number(&self, b: &[u8]) -> f32 {
        let normalized = self.accessor.normalized;
        let scaled = |value: f32, most: f32| {
            if normalized {
                (value / most).max(-1.0)
            } else {
                value
            }
        };
        match (self.component, b) {
            (ComponentType::I8, &[a]) => scaled(f32::from(i8::from_le_bytes([a])), 127.0),
            (ComponentType::U8, &[a]) => scaled(f32::from(a), 255.0),
            (ComponentType::I16, &[a, b]) => scaled(f32::from(i16::from_le_bytes([a, b])), 32767.0),
            (ComponentType::U16, &[a, b]) => scaled(f32::from(u16::from_le_bytes([a, b])), 65535.0),
            (ComponentType::F32, &[a, b, c, d]) => f32::from_le_bytes([a, b, c, d]),
            _ => f32::NAN,
        }
    }
}

/// A little-endian unsigned integer of up to four bytes.
fn unsigned_number(bytes: &[u8]) -> u32 {
    bytes
        .iter()
        .rev()
        .fold(0, |value, &b| (value << 8) | u32::from(b))
}

/// `count` elements inside `bytes`, or none if they are not all there.
fn fit(
    bytes: &[u8],
    offset: u64,
    count: u64,
    size: usize,
    stride: usize,
) -> Option<StridedBytes<'_>> {
    let length = match count.checked_sub(1) {
        None => 0,
        Some(steps) => steps.checked_mul(stride as u64)?.checked_add(size as u64)?,
    };
    let bytes = super::buffer::slice(bytes, offset, length)?;
    Some(StridedBytes {
        bytes,
        stride,
        size,
        count: usize::try_from(count).ok()?,
    })
}
