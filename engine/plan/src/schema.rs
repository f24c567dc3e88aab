//! JSON Schema (draft-07) of each kind of file, made from the table of shapes, so that editors check what the program checks.
//!
//! A schema knows no expressions and no units: what it accepts may still be refused, what it refuses is always refused.

use crate::lower::FileKind;
use crate::shape::item::{PLATES, PlateOf};
use crate::shape::table::{Choice, Grammar, Key, Record, Rest, Rule, Shape, SourceRule, Variants, Word, Yields};
use serde_json::{Map, Value, json};

/// The schema of one kind of file.
pub fn schema(kind: FileKind) -> Value {
    let mut definitions = Map::new();
    let mut root = body(kind.record(), &mut definitions);
    let head = json!({
        "$schema": "http://json-schema.org/draft-07/schema#",
        "title": format!("pilotage: {}/1", kind.word()),
    });
    root["properties"]["pilotage"] = json!({
        "description": "Kind and form of this file; always its first key.",
        "const": format!("{}/1", kind.word()),
    });
    let mut all = object(head);
    all.extend(object(root));
    all.insert("definitions".to_owned(), Value::Object(definitions));
    Value::Object(all)
}

fn object(value: Value) -> Map<String, Value> {
    match value {
        Value::Object(map) => map,
        _ => Map::new(),
    }
}

fn reference(name: &str) -> Value {
    json!({ "$ref": format!("#/definitions/{name}") })
}

/// Records become definitions, so that acts may hold acts.
fn record(record: &'static Record, definitions: &mut Map<String, Value>) -> Value {
    if !definitions.contains_key(record.name) {
        definitions.insert(record.name.to_owned(), Value::Null);
        let made = body(record, definitions);
        definitions.insert(record.name.to_owned(), made);
    }
    reference(record.name)
}

fn body(record: &'static Record, definitions: &mut Map<String, Value>) -> Value {
    let mut properties = Map::new();
    for key in record.all_keys() {
        properties.insert(key.name.to_owned(), property(key, definitions));
    }
    let required: Vec<&str> = record.all_keys().filter(|k| k.required).map(|k| k.name).collect();
    let mut made = object(json!({
        "type": "object",
        "description": record.describes,
        "properties": properties,
        "additionalProperties": false,
    }));
    if !required.is_empty() {
        made.insert("required".to_owned(), json!(required));
    }
    if let Some(free) = &record.rest {
        add_rest(&mut made, record, free, definitions);
    }
    add_rules(&mut made, record.rules);
    Value::Object(made)
}

fn property(key: &'static Key, definitions: &mut Map<String, Value>) -> Value {
    let value = shape(&key.shape, definitions);
    let described = json!({ "description": key.describes, "examples": [key.example] });
    // In draft-07 everything beside `$ref` is ignored: the reference is put one level deeper.
    let mut made = object(described);
    if value.get("$ref").is_some() {
        made.insert("allOf".to_owned(), json!([value]));
    } else {
        made.extend(
            object(value)
                .into_iter()
                .filter(|(k, _)| k != "description" && k != "examples"),
        );
    }
    Value::Object(made)
}

fn add_rest(made: &mut Map<String, Value>, record: &Record, free: &'static Rest, definitions: &mut Map<String, Value>) {
    let value = shape(&free.value, definitions);
    let described = json!({ "description": free.describes, "allOf": [value] });
    made.insert("patternProperties".to_owned(), json!({ free.key.pattern: described }));
    if record.keys.is_empty() {
        made.insert("minProperties".to_owned(), json!(free.at_least));
        made.insert("maxProperties".to_owned(), json!(free.at_most));
        return;
    }
    // Free names share the map with fixed keys: those keys must not be tried against the free names' shape.
    let names: Vec<&str> = record.all_keys().map(|k| k.name).collect();
    let pattern = format!(
        "^(?!({})$){}",
        names.join("|"),
        free.key.pattern.trim_start_matches('^')
    );
    made.insert("patternProperties".to_owned(), json!({ pattern: described }));
    if free.at_least > 0 {
        // At least one name that is none of the fixed keys.
        made.insert("not".to_owned(), json!({ "propertyNames": { "enum": names } }));
    }
}

fn add_rules(made: &mut Map<String, Value>, rules: &[Rule]) {
    let mut all = Vec::new();
    for rule in rules {
        match rule {
            Rule::OneKey => {
                made.insert("minProperties".to_owned(), json!(1));
                made.insert("maxProperties".to_owned(), json!(1));
            }
            Rule::OneOf(keys) => all.push(json!({ "oneOf": each_required(keys) })),
            Rule::SomeOf(keys) => all.push(json!({ "anyOf": each_required(keys) })),
            Rule::AtMostOneOf(keys) => all.push(json!({ "not": { "anyOf": pairs(keys) } })),
            Rule::Needs(key, other) => all.push(json!({ "dependencies": { *key: [other] } })),
            Rule::Source(source) => all.extend(source_rules(*source)),
            Rule::ByKind => all.extend(PLATES.iter().map(plate)),
            Rule::Never(_) | Rule::Check(..) => {}
        }
    }
    if !all.is_empty() {
        made.insert("allOf".to_owned(), Value::Array(all));
    }
}

/// Where the item is of this kind, its nameplate has these names.
fn plate(of: &PlateOf) -> Value {
    let names: Vec<&&str> = of.needs.iter().chain(of.may).collect();
    json!({
        "if": { "properties": { "item": { "const": of.kind } }, "required": ["item"] },
        "then": { "properties": { "nameplate": { "required": of.needs, "propertyNames": { "enum": names } } } },
    })
}

fn each_required(keys: &[&str]) -> Vec<Value> {
    keys.iter().map(|k| json!({ "required": [k] })).collect()
}

fn pairs(keys: &[&str]) -> Vec<Value> {
    let mut all = Vec::new();
    for (at, first) in keys.iter().enumerate() {
        all.extend(
            keys[at + 1..]
                .iter()
                .map(|second| json!({ "required": [first, second] })),
        );
    }
    all
}

fn source_rules(rule: SourceRule) -> Vec<Value> {
    let mut all = Vec::new();
    if rule.when.is_empty() {
        all.push(json!({ "required": ["status"] }));
    } else {
        all.push(json!({ "if": { "anyOf": each_required(rule.when) }, "then": { "required": ["status"] } }));
    }
    for status in ["read", "restated", "derived", "from memory"] {
        let demands = rule.demands(status);
        if !demands.is_empty() {
            all.push(json!({
                "if": { "properties": { "status": { "const": status } }, "required": ["status"] },
                "then": { "required": demands },
            }));
        }
    }
    all
}

fn shape(shape: &'static Shape, definitions: &mut Map<String, Value>) -> Value {
    match shape {
        Shape::Text => json!({ "type": ["string", "number"], "minLength": 1 }),
        Shape::Form(grammar) => form(grammar),
        Shape::Word(words) => word(words),
        Shape::Truth => json!({ "type": "boolean" }),
        Shape::Count(from, to) => json!({ "type": "integer", "minimum": from, "maximum": to }),
        Shape::Factor => json!({ "type": "number", "exclusiveMinimum": 0 }),
        Shape::Unit => {
            json!({ "type": "string", "pattern": r"^\S+$", "description": "A unit such as V, mA, Ω, kHz, ms, °C, %." })
        }
        Shape::Formula(want) => formula(want.yields),
        Shape::WordOrAmount => {
            json!({ "type": ["string", "number"], "minLength": 1, "description": "A word, or a quantity with its unit." })
        }
        Shape::Message(_) => json!({ "type": "string", "minLength": 1 }),
        Shape::List(of, at_least, at_most) => {
            let items = self::shape(of, definitions);
            json!({ "type": "array", "items": items, "minItems": at_least, "maxItems": at_most })
        }
        Shape::Map(of) => record(of, definitions),
        Shape::Either(choice) => either(choice, definitions),
        Shape::Variants(of) => variants(of, definitions),
    }
}

fn form(grammar: &Grammar) -> Value {
    // An editor reads `1` and `2027-06-30` as other types than text; the program reads the text as written.
    json!({ "type": ["string", "number"], "pattern": grammar.pattern, "examples": [grammar.example] })
}

fn word(words: &[Word]) -> Value {
    let listed: Vec<&str> = words.iter().map(|w| w.word).collect();
    let meanings: Vec<&str> = words.iter().map(|w| w.means).collect();
    json!({ "enum": listed, "enumDescriptions": meanings })
}

fn formula(yields: Yields) -> Value {
    let (what, example) = match yields {
        Yields::Any => ("A quantity with its unit, or an expression.", "12 V"),
        Yields::Truth => ("A condition.", "$rated_current >= 16 A"),
        Yields::Of(measure) => (measure.name, measure.example),
    };
    json!({ "type": ["string", "number"], "description": what, "examples": [example] })
}

fn either(choice: &'static Choice, definitions: &mut Map<String, Value>) -> Value {
    let shapes = [choice.scalar, choice.list, choice.map];
    let made: Vec<Value> = shapes.into_iter().flatten().map(|s| shape(s, definitions)).collect();
    json!({ "anyOf": made })
}

/// Some forms are known only so that the program can say why they are refused.
fn may_stand(record: &Record) -> bool {
    !record.rules.iter().any(|rule| matches!(rule, Rule::Never(_)))
}

fn variants(of: &'static Variants, definitions: &mut Map<String, Value>) -> Value {
    if !definitions.contains_key(of.name) {
        definitions.insert(of.name.to_owned(), Value::Null);
        let mut seen: Vec<&str> = Vec::new();
        let mut made = Vec::new();
        for (_, form) in of.forms.iter().filter(|(_, form)| may_stand(form)) {
            if !seen.contains(&form.name) {
                seen.push(form.name);
                made.push(record(form, definitions));
            }
        }
        definitions.insert(
            of.name.to_owned(),
            json!({ "description": of.describes, "anyOf": made }),
        );
    }
    reference(of.name)
}
