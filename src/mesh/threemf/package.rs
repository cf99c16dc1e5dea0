//! The archive: its parts by name, and which of them is the model.

use super::{damaged, not_read};
use crate::mesh::error::{Fault, shortened};
use crate::mesh::read::Limits;
use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};
use std::collections::BTreeMap;
use std::io::{BufReader, Cursor, Read};
use zip::ZipArchive;

/// Part that names the others, as a key.
const RELATIONS: &str = "_rels/.rels";
/// A part that unpacks to more than this many times its packed size is a bomb: mesh text packs to a tenth or so,
/// a very regular one to a fiftieth.
const MOST_PACKED: u64 = 250;
/// Below this, bytes, the packing does not matter.
const SMALL: u64 = 1 << 20;
/// Most parts of an archive; a model has a few, with pictures and settings some dozens.
const MOST_PARTS: usize = 10_000;
/// What an entry of the archive's list begins with (ZIP application note 6.3.10, 4.3.12).
const ENTRY: &[u8] = b"PK\x01\x02";
/// Readers would differ in which of them they take.
const SAME_NAME: &str = "two parts have the same name";
/// Elements within elements; models have six.
const DEEPEST: usize = 64;

/// A part's name for comparing: without leading slash, letter case does not tell (Open Packaging Conventions).
pub(super) fn key(name: &str) -> String {
    name.trim_start_matches('/').to_ascii_lowercase()
}

/// An open archive.
pub(super) struct Package<'b> {
    archive: ZipArchive<Cursor<&'b [u8]>>,
    /// Number of each part, by key.
    parts: BTreeMap<String, usize>,
    /// Bytes that may still be unpacked.
    left: u64,
}

impl<'b> Package<'b> {
    pub(super) fn open(bytes: &'b [u8], limits: &Limits) -> Result<Package<'b>, Fault> {
        // before they are listed: a few bytes of an empty part become some hundred
        let listed = bytes.windows(4).filter(|w| *w == ENTRY).count();
        if listed > MOST_PARTS {
            return Err(damaged(format!("{listed} parts, more than {MOST_PARTS}")));
        }
        let archive = ZipArchive::new(Cursor::new(bytes)).map_err(damaged)?;
        let mut parts = BTreeMap::new();
        for number in 0..archive.len() {
            let Some(Ok(name)) = archive.name_for_index(number) else {
                continue;
            };
            if name.split(['/', '\\']).any(|step| step == "..") {
                return Err(damaged("a part's name leads out of the archive"));
            }
            if parts.insert(key(&name), number).is_some() {
                return Err(damaged(SAME_NAME));
            }
        }
        // of parts with the very same name only one is listed
        if archive.has_duplicate_names() {
            return Err(damaged(SAME_NAME));
        }
        let len = bytes.len() as u64;
        Ok(Package {
            archive,
            parts,
            left: limits.memory.min((len * MOST_PACKED).max(SMALL)),
        })
    }

    /// Key of the part that holds the model.
    pub(super) fn model_part(&mut self) -> Result<String, Fault> {
        let mut found = None;
        match self.each_element(RELATIONS, |element| {
            let kind = attribute(element, "Type")?.unwrap_or_default();
            if name_of(element) == "Relationship" && kind.ends_with("/3dmodel") {
                found = attribute(element, "Target")?;
            }
            Ok(())
        }) {
            Err(Fault::Damaged { .. }) if found.is_none() => {}
            other => other?,
        }
        found
            .map(|target| key(&target))
            .ok_or(Fault::NotStl("a ZIP archive without a 3D model in it"))
    }

    /// Shows `each` all elements of the part `name`, in the order in which they start.
    pub(super) fn each_element(
        &mut self,
        name: &str,
        mut each: impl FnMut(&BytesStart) -> Result<(), Fault>,
    ) -> Result<(), Fault> {
        let number = *self.parts.get(name).ok_or_else(|| {
            let name = shortened(name, 64);
            damaged(format!("there is no part {name}"))
        })?;
        let file = self.archive.by_index(number).map_err(damaged)?;
        if file.encrypted() {
            return Err(not_read("a locked part"));
        }
        let allowed = self
            .left
            .min((file.compressed_size() * MOST_PACKED).max(SMALL));
        if file.size() > allowed {
            return Err(bomb(name));
        }
        let mut reader = Reader::from_reader(BufReader::new(file.take(allowed + 1)));
        let mut buffer = Vec::new();
        let mut depth = 0_usize;
        let broken = |reader: &Reader<_>, error: &dyn std::fmt::Display| {
            damaged(format!(
                "{}, byte {}: {error}",
                shortened(name, 32),
                reader.buffer_position()
            ))
        };
        loop {
            let event = match reader.read_event_into(&mut buffer) {
                Ok(event) => event,
                Err(_) if reader.buffer_position() > allowed => return Err(bomb(name)),
                Err(error) => return Err(broken(&reader, &error)),
            };
            match event {
                Event::Start(element) => {
                    depth += 1;
                    if depth > DEEPEST {
                        return Err(broken(&reader, &"its elements are nested too deep"));
                    }
                    each(&element)?;
                }
                Event::Empty(element) => each(&element)?,
                Event::End(_) => depth = depth.saturating_sub(1),
                Event::DocType(_) => {
                    return Err(broken(&reader, &"a document type is not allowed in it"));
                }
                Event::Eof => break,
                _ => {}
            }
            buffer.clear();
        }
        let used = reader.buffer_position();
        if used > allowed {
            return Err(bomb(name));
        }
        self.left -= used;
        Ok(())
    }
}

/// An element's name without its prefix.
pub(super) fn name_of<'e>(element: &'e BytesStart) -> &'e str {
    let name = element.name().into_inner();
    name.rsplit(':').next().unwrap_or(name)
}

/// The value of the attribute called `name`, whatever its prefix.
pub(super) fn attribute(element: &BytesStart, name: &str) -> Result<Option<String>, Fault> {
    for attribute in element.attributes().with_checks(false) {
        let attribute = attribute.map_err(damaged)?;
        let key = attribute.key.as_ref();
        if key.rsplit(':').next() == Some(name) && !key.starts_with("xmlns") {
            let value = attribute
                .normalized_value(quick_xml::XmlVersion::Implicit1_0)
                .map_err(damaged)?;
            return Ok(Some(value.into_owned()));
        }
    }
    Ok(None)
}

fn bomb(name: &str) -> Fault {
    damaged(format!(
        "part {name} would unpack to far more than it should take"
    ))
}
