//! Reading model files.

use super::error::{Fault, ReadError};
use super::model::Model;
use super::{obj, ply, stl_ascii, stl_binary, threemf, weld};
use crate::units::Unit;
use rayon::prelude::*;
use std::fs::File;
use std::io::Read;
use std::path::Path;

/// The corners of one triangle as the file gives them.
pub(super) type Facet = [[f32; 3]; 3];

/// What a file holds.
#[derive(Debug, Default)]
pub(super) struct Content {
    pub(super) facets: Vec<Facet>,
    /// Millimetres in one unit of the file, where it states its unit.
    pub(super) mm: Option<f64>,
    /// What is in the file and is not used, a sentence each.
    pub(super) unused: Vec<String>,
}

/// What a file may ask for; checked before memory is taken. By default 50 million triangles and 16 GiB.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limits {
    /// Most triangles; never more than [`MOST_TRIANGLES`].
    pub triangles: u64,
    /// Most memory, bytes: the file's own size, and what reading takes by an estimate of 300 bytes a triangle.
    pub memory: u64,
}

impl Default for Limits {
    fn default() -> Self {
        Limits {
            triangles: 50_000_000,
            memory: 16 << 30,
        }
    }
}

/// Bytes a triangle at the peak: the file's record (50), its corners (36), half a vertex with its
/// place in the table (30), corners and sides (24), one and a half edges and what they are sorted
/// from (54), shells (12), and mesh and topology once more for the bodies (66): 272, rounded up.
const BYTES_PER_TRIANGLE: u64 = 300;
/// Most triangles whatever the limit: corners and sides are numbered in 31 bits.
pub const MOST_TRIANGLES: u64 = (1 << 31) / 3;

impl Limits {
    pub(super) fn check_triangles(&self, count: u64) -> Result<(), Fault> {
        let limit = self.triangles.min(MOST_TRIANGLES);
        if count > limit {
            return Err(Fault::TooManyTriangles { count, limit });
        }
        self.check_memory(count * BYTES_PER_TRIANGLE)
    }

    pub(super) fn check_memory(&self, need: u64) -> Result<(), Fault> {
        let limit = self.memory;
        if need > limit {
            return Err(Fault::TooMuchMemory { need, limit });
        }
        Ok(())
    }
}

/// Whether the file at `path` states its own unit, as 3MF files do: told by its first four bytes.
///
/// # Errors
/// [`Fault::Io`] if these cannot be read.
pub fn states_unit(path: &Path) -> Result<bool, ReadError> {
    let name = path.file_name().unwrap_or(path.as_os_str());
    let mut start = Vec::new();
    let read = File::open(path).and_then(|file| file.take(4).read_to_end(&mut start));
    match read {
        Ok(_) => Ok(threemf::looks_like(&start)),
        Err(error) => Err(Fault::Io(error).in_file(&name.to_string_lossy())),
    }
}

/// Reads the STL, 3MF, OBJ or PLY file at `path`, whose numbers are meant in `unit` unless it states its own.
///
/// # Errors
/// If the file cannot be opened, is none of these or not whole, is larger than `limits`, or holds nothing solid; also as
/// [`Model::from_mesh`].
pub fn read(path: &Path, unit: Unit, limits: &Limits) -> Result<Model, ReadError> {
    let name = path.file_name().unwrap_or(path.as_os_str());
    let name = name.to_string_lossy();
    let bytes = bytes_of(path, limits).map_err(|fault| fault.in_file(&name))?;
    from_bytes(&bytes, &name, unit, limits)
}

fn bytes_of(path: &Path, limits: &Limits) -> Result<Vec<u8>, Fault> {
    let mut file = File::open(path)?;
    let len = file.metadata()?.len();
    limits.check_memory(len)?;
    let mut bytes = Vec::new();
    (&mut file)
        .take(stl_binary::HEAD as u64)
        .read_to_end(&mut bytes)?;
    if let Some(count) = stl_binary::exact_count(&bytes, len) {
        limits.check_triangles(u64::from(count))?;
    }
    // what is no regular file may have any length, whatever it says: never read on without end
    let most = (limits.memory.saturating_add(1)).saturating_sub(bytes.len() as u64);
    // one byte more, so that finding the end needs no larger buffer
    let rest = len.saturating_sub(bytes.len() as u64) + 1;
    bytes.reserve_exact(usize::try_from(rest).unwrap_or(0));
    file.take(most).read_to_end(&mut bytes)?;
    limits.check_memory(bytes.len() as u64)?;
    Ok(bytes)
}

/// Reads the bytes of a file called `name`, whose numbers are meant in `unit` unless it states its own.
///
/// Its kind is told by its content: binary STL if the length is just what the declared count calls for, whatever
/// the header says; 3MF if it is a ZIP archive, PLY and STL as text by their first word, OBJ by the keywords of
/// its first lines.
///
/// # Errors
/// As [`read`], never [`Fault::Io`].
pub fn from_bytes(
    bytes: &[u8],
    name: &str,
    unit: Unit,
    limits: &Limits,
) -> Result<Model, ReadError> {
    let content = content(bytes, limits).map_err(|fault| fault.in_file(name))?;
    let (mm, unit) = match content.mm {
        Some(mm) => (mm, Unit::Mm),
        None => (unit.in_mm(), unit),
    };
    let rounding = rounding(&content.facets) * mm;
    let mesh = weld::exact(&content.facets, mm);
    drop(content.facets);
    let model = Model::from_mesh(name, mesh, unit, rounding)?;
    Ok(Model {
        stated_mm: content.mm,
        unused: content.unused,
        ..model
    })
}

/// What a file holds; there is at least one triangle and all coordinates are finite.
fn content(bytes: &[u8], limits: &Limits) -> Result<Content, Fault> {
    let stl = |facets| Content {
        facets,
        ..Content::default()
    };
    let content = if let Some(count) = stl_binary::exact_count(bytes, bytes.len() as u64) {
        limits.check_triangles(u64::from(count))?;
        stl(stl_binary::facets(bytes))
    } else if threemf::looks_like(bytes) {
        threemf::content(bytes, limits)?
    } else if ply::looks_like(bytes) {
        ply::content(bytes, limits)?
    } else if stl_ascii::looks_like(bytes) {
        stl(stl_ascii::facets(bytes, |count| {
            limits.check_triangles(count)?;
            limits.check_memory(bytes.len() as u64 + count * BYTES_PER_TRIANGLE)
        })?)
    } else if obj::looks_like(bytes) {
        obj::content(bytes, limits)?
    } else {
        return Err(other_kind(bytes));
    };
    if content.facets.is_empty() {
        return Err(Fault::NoTriangles);
    }
    let broken = |facet: &Facet| !facet.as_flattened().iter().all(|x| x.is_finite());
    let facets = content.facets.par_iter().with_min_len(4096);
    match facets.position_first(broken) {
        Some(triangle) => Err(Fault::NotFinite {
            triangle,
            line: None,
        }),
        None => Ok(content),
    }
}

/// Why `bytes` are none of the kinds that are read.
fn other_kind(bytes: &[u8]) -> Fault {
    let start = &bytes[..bytes.len().min(512)];
    let utf16 = start.starts_with(b"\xff\xfe") || start.starts_with(b"\xfe\xff");
    // words of plain letters have a zero in every other byte
    let wide = |odd: usize| start.len() >= 8 && (0..8).all(|k| (start[k] == 0) == (k % 2 == odd));
    // of text, bytes 80 to 83 taken for a count are letters or digits, hence a count beyond any file
    let text = std::str::from_utf8(&start[..start.len().min(64)])
        .is_ok_and(|s| !s.chars().any(|c| c.is_control() && !c.is_whitespace()));
    if bytes.is_empty() {
        Fault::Empty
    } else if utf16 || wide(0) || wide(1) {
        Fault::NotStl("UTF-16 text")
    } else if start.trim_ascii_start().starts_with(b"<") && text {
        Fault::NotStl("a web page or an XML file")
    } else if text
        && stl_binary::declared(bytes).is_none_or(|n| n.to_le_bytes().is_ascii() && n > 1 << 24)
    {
        Fault::NotStl("some other text")
    } else if let Some(declared) = stl_binary::declared(bytes) {
        let rest = (bytes.len() - stl_binary::HEAD) as u64;
        let record = stl_binary::RECORD as u64;
        Fault::Count {
            declared,
            present: rest / record,
            rest: rest % record,
        }
    } else {
        Fault::NotStl("too short for one")
    }
}

/// The largest spacing of 32-bit numbers at any coordinate, in the file's unit.
fn rounding(facets: &[Facet]) -> f64 {
    let largest = |facet: &Facet| {
        facet
            .as_flattened()
            .iter()
            .fold(0.0, |m: f32, x| m.max(x.abs()))
    };
    let largest = facets
        .par_iter()
        .with_min_len(4096)
        .map(largest)
        .reduce(|| 0.0, f32::max);
    f64::from(largest.next_up()) - f64::from(largest)
}
