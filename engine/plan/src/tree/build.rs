//! The tree from the parser's events, with a stack of its own.

use super::syntax::{Refusal, refusal};
use super::{Content, MOST_DEPTH, MOST_VALUES, Node, Parsed, span_at};
use crate::problem::{Problem, code, quoted};
use crate::source::{Sp, Span};
use serde_saphyr::granit_parser::{self, Event, Parser, ScalarStyle, StructureStyle};
use std::collections::BTreeMap;
use std::sync::Arc;

/// Builds the tree of a text that was found to be text.
pub(super) fn build(file: Arc<str>, text: &str) -> Parsed {
    let mut builder = Builder::new(file, text);
    builder.run();
    builder.finish()
}

/// A list or a map under construction.
struct Frame {
    span: Span,
    anchor: usize,
    flow: bool,
    kind: FrameKind,
}

enum FrameKind {
    List(Vec<Node>),
    Map {
        entries: Vec<(Sp<String>, Node)>,
        seen: BTreeMap<String, u32>,
        key: Key,
    },
}

/// Where a map stands between key and value.
enum Key {
    /// The next node is a key.
    Wanted,
    /// The next node is the value of this key.
    Given(Sp<String>),
    /// The next node is the value of a key whose problem was already reported.
    Broken,
}

struct Builder<'t> {
    file: Arc<str>,
    text: &'t str,
    stack: Vec<Frame>,
    anchors: BTreeMap<usize, Node>,
    values: usize,
    root: Option<Node>,
    documents: usize,
    problems: Vec<Problem>,
    stopped: bool,
}

impl<'t> Builder<'t> {
    fn new(file: Arc<str>, text: &'t str) -> Self {
        Self {
            file,
            text,
            stack: Vec::new(),
            anchors: BTreeMap::new(),
            values: 0,
            root: None,
            documents: 0,
            problems: Vec::new(),
            stopped: false,
        }
    }

    fn run(&mut self) {
        let mut options = granit_parser::options! {
            emit_unresolved_aliases: true,
            flow_nesting_limit: MOST_DEPTH,
            block_nesting_limit: MOST_DEPTH,
        };
        options.set_emit_comments(false);
        for result in Parser::new_from_str_with_options(self.text, options) {
            match result {
                Ok((event, span)) => self.take(event, span),
                Err(error) => {
                    match refusal(&error, &self.file, self.text) {
                        Refusal::TooDeep(span) => self.too_deep(&span),
                        Refusal::Problem(problem) => self.problems.push(problem),
                    }
                    return;
                }
            }
            if self.stopped {
                return;
            }
        }
    }

    fn finish(mut self) -> Parsed {
        let nothing = self.root.as_ref().is_none_or(|root| root.content == Content::Broken);
        if nothing && self.problems.is_empty() {
            self.root = None;
            let place = span_at(&self.file, self.text, 0, 0);
            self.problems.push(
                Problem::new(code::EMPTY_FILE, &place, "the file says nothing")
                    .expected("a first line such as `pilotage: sequence/1`")
                    .mend("begin with the kind of file, e.g. `pilotage: sequence/1`"),
            );
        }
        Parsed {
            root: self.root,
            problems: self.problems,
        }
    }

    fn span(&self, span: granit_parser::Span) -> Span {
        let range = span.byte_range().unwrap_or(0..0);
        Span {
            file: self.file.clone(),
            line: span.start.line().max(1) as u32,
            column: span.start.col() as u32 + 1,
            offset: range.start,
            length: range.len(),
        }
    }

    fn take(&mut self, event: Event<'t>, place: granit_parser::Span) {
        let span = self.span(place);
        match event {
            Event::DocumentStart(_, version) => self.document(&span, version),
            Event::Scalar(text, style, anchor, tag) => {
                self.refuse_tag(tag.is_some(), place);
                let plain = style == ScalarStyle::Plain;
                let node = if plain && tag.is_none() && is_null(&text) {
                    self.null(&span, &text);
                    Node {
                        span,
                        content: Content::Broken,
                    }
                } else {
                    Node {
                        span,
                        content: Content::Scalar {
                            text: text.into_owned(),
                            quoted: !plain,
                        },
                    }
                };
                self.place(node, anchor);
            }
            Event::SequenceStart(style, anchor, tag) => {
                self.refuse_tag(tag.is_some(), place);
                self.open(span, anchor, style, FrameKind::List(Vec::new()));
            }
            Event::MappingStart(style, anchor, tag) => {
                self.refuse_tag(tag.is_some(), place);
                let kind = FrameKind::Map {
                    entries: Vec::new(),
                    seen: BTreeMap::new(),
                    key: Key::Wanted,
                };
                self.open(span, anchor, style, kind);
            }
            Event::SequenceEnd | Event::MappingEnd => self.close(),
            Event::Alias(id) => self.alias(span, id),
            Event::UnresolvedAlias(name) => self.unknown_alias(span, &name),
            _ => {}
        }
    }

    fn document(&mut self, span: &Span, version: Option<granit_parser::YamlVersion>) {
        self.documents += 1;
        if self.documents > 1 {
            self.problems.push(
                Problem::new(code::SEVERAL_DOCUMENTS, span, "a second document begins here")
                    .expected("one document in a file")
                    .mend("put it into a file of its own, or delete the line `---`"),
            );
            self.stopped = true;
        }
        if let Some(version) = version.filter(|v| (v.major, v.minor) != (1, 2)) {
            let got = format!("%YAML {}.{}", version.major, version.minor);
            let start = span_at(&self.file, self.text, 0, 0);
            self.problems.push(
                Problem::new(code::YAML_VERSION, &start, "only YAML 1.2 is read")
                    .expected("%YAML 1.2, or no such line")
                    .got(got)
                    .mend("delete the line that begins with %YAML"),
            );
        }
    }

    fn refuse_tag(&mut self, tagged: bool, place: granit_parser::Span) {
        if !tagged {
            return;
        }
        let span = self.span(place.tag_span().unwrap_or(place));
        let tag = self.text.get(span.offset..span.offset + span.length).unwrap_or("!");
        self.problems.push(
            Problem::new(code::TAG, &span, format!("the tag {} is not read", quoted(tag)))
                .expected("a value without a tag")
                .mend("delete the tag; quote the value where it begins with `!`"),
        );
    }

    fn null(&mut self, span: &Span, text: &str) {
        let problem = match self.stack.last() {
            Some(Frame {
                kind: FrameKind::Map {
                    key: Key::Given(key), ..
                },
                flow,
                ..
            }) => {
                let message = format!("the key {} has no value", quoted(&key.value));
                let mend = if *flow {
                    "a comma in unquoted text makes one: quote it, e.g. {says: \"first, then\"}"
                } else {
                    "write its value behind the colon, or delete the key"
                };
                Problem::new(code::NO_VALUE, &key.span, message).mend(mend)
            }
            Some(Frame {
                kind: FrameKind::Map { key: Key::Wanted, .. },
                ..
            }) => Problem::new(code::NO_VALUE, span, "a key is empty").mend("write a name before the colon"),
            None => {
                // The whole file: `finish` says that it is empty.
                return;
            }
            _ => Problem::new(code::NO_VALUE, span, "a list entry has no value")
                .mend("write its value, or delete the entry; quote the word null where it means text"),
        };
        let got = if text.is_empty() || span.length == 0 {
            "nothing".to_owned()
        } else {
            quoted(text)
        };
        self.problems.push(problem.expected("a value").got(got));
    }

    fn open(&mut self, span: Span, anchor: usize, style: StructureStyle, kind: FrameKind) {
        if self.stack.len() >= MOST_DEPTH {
            self.too_deep(&span);
            return;
        }
        let flow = style == StructureStyle::Flow;
        self.stack.push(Frame {
            span,
            anchor,
            flow,
            kind,
        });
    }

    fn too_deep(&mut self, span: &Span) {
        self.problems.push(
            Problem::new(code::TOO_DEEP, span, "lists and maps are nested too deeply here")
                .expected(format!("at most {MOST_DEPTH} levels"))
                .mend("no file needs this: look for a bracket that is not closed"),
        );
        self.stopped = true;
    }

    fn close(&mut self) {
        let Some(frame) = self.stack.pop() else { return };
        let (content, first) = match frame.kind {
            FrameKind::List(items) => {
                let first = items.first().map(|n| n.span.clone());
                (Content::List(items), first)
            }
            FrameKind::Map { entries, .. } => {
                let first = entries.first().map(|(k, _)| k.span.clone());
                (Content::Map(entries), first)
            }
        };
        let span = if frame.flow {
            Span {
                length: 1,
                ..frame.span
            }
        } else {
            first.unwrap_or(frame.span)
        };
        self.place(Node { span, content }, frame.anchor);
    }

    /// Puts a finished node where it belongs: as root, entry, key or value.
    fn place(&mut self, node: Node, anchor: usize) {
        self.values += 1;
        if self.values > MOST_VALUES {
            self.too_many(&node.span);
            return;
        }
        if anchor != 0 {
            self.anchors.insert(anchor, node.clone());
        }
        let Some(frame) = self.stack.last_mut() else {
            self.root.get_or_insert(node);
            return;
        };
        match &mut frame.kind {
            FrameKind::List(items) => items.push(node),
            FrameKind::Map { entries, key, .. } => match std::mem::replace(key, Key::Wanted) {
                Key::Wanted => self.key(node),
                Key::Given(name) => entries.push((name, node)),
                Key::Broken => {}
            },
        }
    }

    fn too_many(&mut self, span: &Span) {
        self.problems.push(
            Problem::new(code::TOO_MANY_VALUES, span, "the file holds too many values")
                .expected(format!("at most {MOST_VALUES} values, those behind aliases included"))
                .mend("split the file; write repeated parts without aliases"),
        );
        self.stopped = true;
    }

    fn key(&mut self, node: Node) {
        let next = match node.content {
            Content::Scalar { text, quoted: false } if text == "<<" => {
                self.problems.push(
                    Problem::new(code::MERGE_KEY, &node.span, "merge keys are not read")
                        .expected("keys written out")
                        .got("`<<`")
                        .mend("write the merged keys out in full"),
                );
                Key::Broken
            }
            Content::Scalar { text, .. } => self.unless_seen(Sp {
                value: text,
                span: node.span,
            }),
            Content::Broken => Key::Broken,
            Content::List(_) | Content::Map(_) => {
                self.problems.push(
                    Problem::new(code::KEY_NOT_TEXT, &node.span, "a list or a map cannot be a key")
                        .expected("a text")
                        .mend("write a text before the colon; quote it where it holds brackets or braces"),
                );
                Key::Broken
            }
        };
        if let Some(Frame {
            kind: FrameKind::Map { key, .. },
            ..
        }) = self.stack.last_mut()
        {
            *key = next;
        }
    }

    fn unless_seen(&mut self, name: Sp<String>) -> Key {
        let Some(Frame {
            kind: FrameKind::Map { seen, .. },
            ..
        }) = self.stack.last_mut()
        else {
            return Key::Broken;
        };
        let Some(line) = seen.get(&name.value).copied() else {
            seen.insert(name.value.clone(), name.span.line);
            return Key::Given(name);
        };
        let message = format!("the key {} stands twice in one map", quoted(&name.value));
        self.problems.push(
            Problem::new(code::DUPLICATE_KEY, &name.span, message)
                .expected("each key once")
                .got(format!("the same key in line {line}"))
                .mend("delete one of them; acts that repeat a key are entries of a list, each with its `-`"),
        );
        Key::Broken
    }

    fn alias(&mut self, span: Span, id: usize) {
        let Some(target) = self.anchors.get(&id) else {
            let text = self
                .text
                .get(span.offset + 1..span.offset + span.length)
                .unwrap_or_default();
            self.unknown_alias(span, text);
            return;
        };
        let size = size_of(target);
        if self.values + size > MOST_VALUES {
            self.too_many(&span);
            return;
        }
        let depth = depth_of(target);
        if self.stack.len() + depth > MOST_DEPTH {
            self.too_deep(&span);
            return;
        }
        let node = target.clone();
        self.values += size;
        self.place(node, 0);
    }

    fn unknown_alias(&mut self, span: Span, name: &str) {
        self.problems.push(
            Problem::new(
                code::ALIAS,
                &span,
                format!("the alias {} stands for nothing", quoted(name)),
            )
            .expected("an alias of an anchor that is complete before it")
            .mend("write the value out; quote the text where it begins with `*`"),
        );
        self.place(
            Node {
                span,
                content: Content::Broken,
            },
            0,
        );
    }
}

fn is_null(text: &str) -> bool {
    matches!(text, "" | "~" | "null" | "Null" | "NULL")
}

fn size_of(node: &Node) -> usize {
    1 + match &node.content {
        Content::List(items) => items.iter().map(size_of).sum(),
        Content::Map(entries) => entries.iter().map(|(_, n)| 1 + size_of(n)).sum(),
        _ => 0,
    }
}

fn depth_of(node: &Node) -> usize {
    match &node.content {
        Content::List(items) => 1 + items.iter().map(depth_of).max().unwrap_or(0),
        Content::Map(entries) => 1 + entries.iter().map(|(_, n)| depth_of(n)).max().unwrap_or(0),
        _ => 0,
    }
}
