//! `bench serve`: the virtual bench over TCP, one port an instrument and one for the virtual person.

use super::Context;
use crate::args::Serve;
use crate::failure::Failure;
use crate::fitting::{Reader, all_defects};
use crate::serving::{Served, Server};
use crate::shipped::{Shelf, Shelves};
use crate::text::harmless;
use crate::wiring::setup::{Given, setup};
use pilotage_evidence::ItemKind;
use pilotage_plan::files::defect::DefectFile;
use pilotage_plan::lower::read as reading;
use serde_json::json;

/// Serves until interrupted.
pub(super) fn serve(arguments: &Serve, context: &mut Context<'_>) -> Result<u8, Failure> {
    let shelves = context.shelves.clone();
    let item = Reader::new(&shelves).read(Shelf::Items, "item", &arguments.item, reading::read_item)?;
    let defect = arguments.virtual_item.defect.as_deref();
    let defect = defect.map(|id| find(id, item.kind.value, &shelves)).transpose()?;
    let given = defect.as_ref().map(|defect| Given {
        defect,
        severity: arguments.virtual_item.severity,
    });
    let setup = setup(&item, given, arguments.virtual_item.seed)?;
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|error| Failure::broken(format!("no runtime: {error}"), "report this"))?;
    let local = tokio::task::LocalSet::new();
    local.block_on(&runtime, async {
        let server = Server::bind(&setup, arguments.virtual_item.seed, arguments.pace, arguments.port).await?;
        announce(&server.served, context);
        server.run().await;
        Ok(0)
    })
}

fn find(id: &str, kind: ItemKind, shelves: &Shelves) -> Result<DefectFile, Failure> {
    let all = all_defects(shelves)?.into_iter().map(|(_, file)| file);
    let all: Vec<DefectFile> = all.filter(|file| file.item.value == kind).collect();
    super::challenge::named(id, &all)
}

fn announce(served: &[Served], context: &mut Context<'_>) {
    if context.json {
        let ports: serde_json::Map<String, serde_json::Value> = served
            .iter()
            .filter(|one| !one.person)
            .map(|one| (one.name.clone(), json!(one.port)))
            .collect();
        let person = served.iter().find(|one| one.person).map(|one| one.port);
        context
            .output
            .data(&json!({"ports": ports, "person": person}).to_string());
        return;
    }
    for one in served {
        context
            .output
            .data(&format!("  127.0.0.1:{:<6} {}", one.port, harmless(&one.name)));
    }
    context
        .output
        .message("virtual bench: no item is tested. Ctrl-C ends it.");
}
