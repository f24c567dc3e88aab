//! The one check that the table drives: from a tree to a checked tree, with every problem on the way.

use super::checked::{Checked, CheckedMap};
use super::table::{Choice, Key, Record, Rest, Shape, Variants};
use super::{rules, scalar};
use crate::problem::{MOST_PROBLEMS, Problem, code, quoted};
use crate::source::{Sp, Span};
use crate::tree::{Content, Node};

/// Checks trees of one text and collects problems.
pub(crate) struct Checker<'t> {
    /// The text, for places within scalars.
    pub(crate) text: &'t str,
    /// What was found so far.
    pub(crate) problems: Vec<Problem>,
}

impl<'t> Checker<'t> {
    /// For a text, with the problems that are known already.
    pub(crate) fn new(text: &'t str, problems: Vec<Problem>) -> Self {
        Self { text, problems }
    }

    pub(super) fn report(&mut self, problem: Problem) {
        self.problems.push(problem);
    }

    /// Checks one value; `None` where it, or anything below it, has a problem.
    pub(crate) fn check(&mut self, node: &Node, shape: &Shape) -> Option<Checked> {
        if node.content == Content::Broken {
            return None;
        }
        match shape {
            Shape::List(of, at_least, at_most) => self.list(node, of, *at_least, *at_most),
            Shape::Map(record) => self.map(node, record).map(Checked::Map),
            Shape::Either(choice) => self.either(node, choice),
            Shape::Variants(variants) => self.variants(node, variants),
            _ => self.scalar(node, shape),
        }
    }

    fn scalar(&mut self, node: &Node, shape: &Shape) -> Option<Checked> {
        let Content::Scalar { text, quoted } = &node.content else {
            self.wrong_sort(node, &scalar::wanted(shape), &scalar::example(shape));
            return None;
        };
        match scalar::read(shape, text, *quoted, &node.span, self.text) {
            Ok(checked) => Some(checked),
            Err(problem) => {
                self.report(*problem);
                None
            }
        }
    }

    fn wrong_sort(&mut self, node: &Node, wanted: &str, example: &str) {
        let got = sort_of(node);
        self.report(
            Problem::new(
                code::WRONG_SORT,
                &node.span,
                format!("{got} stands where {wanted} is wanted"),
            )
            .expected(wanted)
            .got(got)
            .mend(format!("write it like this: {example}")),
        );
    }

    fn list(&mut self, node: &Node, of: &Shape, at_least: usize, at_most: usize) -> Option<Checked> {
        let Content::List(items) = &node.content else {
            self.wrong_sort(
                node,
                "a list",
                "[…, …], or entries below each other that begin with `- `",
            );
            return None;
        };
        let before = self.problems.len();
        if !(at_least..=at_most).contains(&items.len()) {
            let wanted = if at_least == at_most {
                format!("{at_least}")
            } else {
                format!("{at_least} to {at_most}")
            };
            let mend = if items.len() < at_least {
                "add what is missing"
            } else {
                "take some away"
            };
            self.report(
                Problem::new(
                    code::LIST_LENGTH,
                    &node.span,
                    format!("the list has {} entries", items.len()),
                )
                .expected(format!("{wanted} entries"))
                .got(format!("{}", items.len()))
                .mend(mend),
            );
        }
        let checked: Vec<_> = items.iter().map(|item| self.check(item, of)).collect();
        let all: Option<Vec<_>> = checked.into_iter().collect();
        all.filter(|_| self.problems.len() == before).map(Checked::List)
    }

    fn either(&mut self, node: &Node, choice: &Choice) -> Option<Checked> {
        let shape = match &node.content {
            Content::Scalar { .. } => choice.scalar,
            Content::List(_) => choice.list,
            Content::Map(_) | Content::Broken => choice.map,
        };
        if let Some(shape) = shape {
            return self.check(node, shape);
        }
        let sorts = [
            (choice.scalar, "a text"),
            (choice.list, "a list"),
            (choice.map, "a map"),
        ];
        let wanted: Vec<&str> = sorts
            .iter()
            .filter(|(s, _)| s.is_some())
            .map(|(_, name)| *name)
            .collect();
        let examples = [choice.scalar, choice.list, choice.map];
        let example = examples
            .into_iter()
            .flatten()
            .next()
            .map_or(String::new(), scalar::example);
        self.wrong_sort(node, &wanted.join(" or "), &example);
        None
    }

    fn variants(&mut self, node: &Node, variants: &Variants) -> Option<Checked> {
        let leading: Vec<&str> = variants.forms.iter().map(|(lead, _)| *lead).collect();
        let Content::Map(entries) = &node.content else {
            self.wrong_sort(node, "a map", &format!("{{{}: …}}", leading[0]));
            return None;
        };
        let present = |lead: &str| entries.iter().any(|(k, _)| k.value == lead);
        if let Some((_, record)) = variants.forms.iter().find(|(lead, _)| present(lead)) {
            return self.map(node, record).map(Checked::Map);
        }
        let got = entries.first().map_or("nothing".to_owned(), |(k, _)| quoted(&k.value));
        let near = entries
            .first()
            .and_then(|(k, _)| scalar::nearest(&k.value, leading.iter().copied()));
        let mend = match near {
            Some(near) => format!("did you mean `{near}`?"),
            None => format!("begin with one of these keys: {}", leading.join(", ")),
        };
        self.report(
            Problem::new(code::NO_FORM, &node.span, "none of the possible forms")
                .expected(format!("one of the keys {}", leading.join(", ")))
                .got(got)
                .mend(mend),
        );
        None
    }

    /// Checks a map; `None` where anything in it has a problem.
    pub(crate) fn map(&mut self, node: &Node, record: &'static Record) -> Option<CheckedMap> {
        let Content::Map(entries) = &node.content else {
            self.wrong_sort(node, "a map", &example_of(record));
            return None;
        };
        let before = self.problems.len();
        let mut map = CheckedMap {
            span: node.span.clone(),
            present: entries.iter().map(|(k, _)| k.clone()).collect(),
            names: entries.iter().map(|(k, _)| k.value.clone()).collect(),
            fixed: Vec::new(),
            rest: Vec::new(),
        };
        let mut complete = true;
        for (name, value) in entries {
            complete &= self.entry(name, value, record, &mut map);
        }
        self.missing(record, &map);
        if let Some(rest) = &record.rest {
            self.how_many(record, rest, &map);
        }
        rules::run(record, &map, &mut self.problems);
        (complete && self.problems.len() == before).then_some(map)
    }

    fn entry(&mut self, name: &Sp<String>, value: &Node, record: &'static Record, map: &mut CheckedMap) -> bool {
        if let Some(key) = record.key(&name.value) {
            let checked = self.check(value, &key.shape);
            let good = checked.is_some();
            map.fixed.extend(checked.map(|c| (key.name, c)));
            return good;
        }
        // Beyond what is ever listed, nobody needs to be told what was meant.
        let guess = self.problems.len() <= 2 * MOST_PROBLEMS;
        let meant = guess.then(|| scalar::meant(&name.value, record, map)).flatten();
        let Some(rest) = record
            .rest
            .as_ref()
            .filter(|_| record.keys.is_empty() || meant.is_none())
        else {
            // A key without a value was reported already: it is most often the rest of an unquoted text.
            if value.content != Content::Broken {
                self.unknown_key(name, record, map, meant, guess);
            }
            return false;
        };
        if !(rest.key.fits)(&name.value) {
            self.report(scalar::not_in_form(&name.value, rest.key, &name.span));
            return false;
        }
        let checked = self.check(value, &rest.value);
        let good = checked.is_some();
        map.rest.extend(checked.map(|c| (name.clone(), c)));
        good
    }

    /// A misspelt key stands for the one that was meant, so that nothing is reported twice.
    fn unknown_key(
        &mut self,
        name: &Sp<String>,
        record: &Record,
        map: &mut CheckedMap,
        meant: Option<&'static str>,
        guess: bool,
    ) {
        let listed: Vec<&str> = record.all_keys().map(|k| k.name).collect();
        let double = guess
            .then(|| scalar::nearest(&name.value, listed.iter().copied()))
            .flatten();
        let mend = match (meant, double) {
            (Some(meant), _) => format!("did you mean `{meant}`?"),
            (None, Some(double)) => format!("delete it; `{double}` stands already"),
            (None, None) if listed.is_empty() => "delete it".to_owned(),
            (None, None) => "delete it, or write one of the keys that are read here".to_owned(),
        };
        let wanted = if listed.is_empty() {
            "no keys".to_owned()
        } else {
            format!("one of {}", listed.join(", "))
        };
        let message = format!("unknown key {} in `{}`", quoted(&name.value), record.name);
        self.report(
            Problem::new(code::UNKNOWN_KEY, &name.span, message)
                .expected(wanted)
                .mend(mend),
        );
        map.names.remove(&name.value);
        map.names.extend(meant.map(str::to_owned));
    }

    fn missing(&mut self, record: &Record, map: &CheckedMap) {
        for key in record.all_keys().filter(|k| k.required && !map.has(k.name)) {
            let message = format!("the key `{}` is missing in `{}`", key.name, record.name);
            self.report(
                Problem::new(code::MISSING_KEY, &map.span, message)
                    .expected(format!("`{}`", key.name))
                    .mend(format!("add `{}: {}` ({})", key.name, key.example, first_sentence(key))),
            );
        }
    }

    fn how_many(&mut self, record: &Record, rest: &Rest, map: &CheckedMap) {
        let count = map.names.iter().filter(|name| record.key(name).is_none()).count();
        if (rest.at_least..=rest.at_most).contains(&count) {
            return;
        }
        let wanted = match (rest.at_least, rest.at_most) {
            (1, 1) => "exactly one".to_owned(),
            (low, high) => format!("{low} to {high}"),
        };
        let message = format!(
            "`{}` has {count} entries that begin with {}",
            record.name, rest.key.what
        );
        let place = Self::second_free(record, map).unwrap_or(&map.span).clone();
        self.report(
            Problem::new(code::LIST_LENGTH, &place, message)
                .expected(wanted)
                .got(format!("{count}"))
                .mend(format!(
                    "write one such entry, e.g. `{}: …`. {}",
                    rest.key.example, rest.describes
                )),
        );
    }

    fn second_free<'m>(record: &Record, map: &'m CheckedMap) -> Option<&'m Span> {
        let mut free = map.present.iter().filter(|k| record.key(&k.value).is_none());
        free.nth(1).map(|k| &k.span)
    }
}

fn first_sentence(key: &Key) -> &'static str {
    key.describes.trim_end_matches('.')
}

fn sort_of(node: &Node) -> &'static str {
    match &node.content {
        Content::Scalar { .. } => "a text",
        Content::List(_) => "a list",
        Content::Map(_) => "a map",
        Content::Broken => "nothing",
    }
}

fn example_of(record: &Record) -> String {
    let required = record.all_keys().filter(|k| k.required);
    let parts: Vec<String> = required.map(|k| format!("{}: {}", k.name, k.example)).collect();
    match (&record.rest, parts.is_empty()) {
        (Some(rest), true) => format!("{{{}: …}}", rest.key.example),
        (None, true) => record
            .all_keys()
            .next()
            .map_or("{}".to_owned(), |k| format!("{{{}: {}}}", k.name, k.example)),
        _ => format!("{{{}}}", parts.join(", ")),
    }
}
