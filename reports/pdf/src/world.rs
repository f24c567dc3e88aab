//! What typst may read: the template, the document, the journal, three fonts. No disk, no network, no clock.

use std::collections::HashMap;
use std::sync::LazyLock;
use typst::diag::{FileError, FileResult};
use typst::foundations::{Bytes, Datetime, Duration};
use typst::syntax::{FileId, RootedPath, Source, VirtualPath, VirtualRoot};
use typst::text::{Font, FontBook};
use typst::utils::LazyHash;
use typst::{Library, LibraryExt, World};

static FONTS: LazyLock<(LazyHash<FontBook>, Vec<Font>)> = LazyLock::new(|| {
    let files: [&'static [u8]; 3] = [
        include_bytes!("../fonts/Inter-Regular.otf"),
        include_bytes!("../fonts/Inter-Bold.otf"),
        include_bytes!("../fonts/DejaVuSansMono.ttf"),
    ];
    let fonts: Vec<Font> = files
        .into_iter()
        .flat_map(|data| Font::iter(Bytes::new(data)))
        .collect();
    (LazyHash::new(FontBook::from_fonts(&fonts)), fonts)
});

/// Whether one of the fonts can draw a character.
pub(crate) fn has_glyph(c: char) -> bool {
    FONTS.1.iter().any(|font| font.info().coverage.contains(u32::from(c)))
}

static LIBRARY: LazyLock<LazyHash<Library>> = LazyLock::new(|| LazyHash::new(Library::builder().build()));

/// Makes fonts and library, which otherwise the first report would wait for.
pub(crate) fn warm_up() {
    LazyLock::force(&FONTS);
    LazyLock::force(&LIBRARY);
}

const TEMPLATES: [(&str, &str); 4] = [
    (REPORT, include_str!("../template/report.typ")),
    (HOOK_UP, include_str!("../template/hook_up.typ")),
    ("/draw.typ", include_str!("../template/draw.typ")),
    ("/texts.typ", include_str!("../template/texts.typ")),
];

/// The report of a run.
pub(crate) const REPORT: &str = "/report.typ";
/// The hook-up page.
pub(crate) const HOOK_UP: &str = "/hook_up.typ";

/// The world of one document. Hash maps are only looked up, never walked: their order cannot show.
pub(crate) struct ReportWorld {
    main: FileId,
    sources: HashMap<FileId, Source>,
    files: HashMap<FileId, Bytes>,
    today: Option<Datetime>,
}

impl ReportWorld {
    /// From the template, the data files by their path in it, and the day of the run.
    pub(crate) fn new(main: &str, files: Vec<(&str, Vec<u8>)>, today: Option<Datetime>) -> Self {
        let sources = TEMPLATES.map(|(path, text)| (id(path), Source::new(id(path), text.to_owned())));
        Self {
            main: id(main),
            sources: sources.into_iter().collect(),
            files: files
                .into_iter()
                .map(|(path, bytes)| (id(path), Bytes::new(bytes)))
                .collect(),
            today,
        }
    }
}

fn id(path: &str) -> FileId {
    let path = VirtualPath::new(path).expect("paths of the template are written in this crate");
    RootedPath::new(VirtualRoot::Project, path).intern()
}

fn missing(id: FileId) -> FileError {
    FileError::NotFound(id.vpath().get_with_slash().into())
}

impl World for ReportWorld {
    fn library(&self) -> &LazyHash<Library> {
        &LIBRARY
    }

    fn book(&self) -> &LazyHash<FontBook> {
        &FONTS.0
    }

    fn main(&self) -> FileId {
        self.main
    }

    fn source(&self, id: FileId) -> FileResult<Source> {
        self.sources.get(&id).cloned().ok_or_else(|| missing(id))
    }

    fn file(&self, id: FileId) -> FileResult<Bytes> {
        self.files.get(&id).cloned().ok_or_else(|| missing(id))
    }

    fn font(&self, index: usize) -> Option<Font> {
        FONTS.1.get(index).cloned()
    }

    fn today(&self, _offset: Option<Duration>) -> Option<Datetime> {
        self.today
    }
}
