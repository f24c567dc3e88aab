//! Opens the links of a bench file.

use super::{Link, LinkError, TcpLink};
use crate::trouble::About;
use futures_util::future::join_all;
use pilotage_plan::files::bench::{BenchFile, InstrumentText, LinkText};
use pilotage_run::world::BenchError;
use std::collections::BTreeMap;
use std::time::Duration;

/// Opens all TCP links of a bench, at the same time. Instruments in memory are left to the caller, who has their devices.
pub async fn open_sockets(bench: &BenchFile, within: Duration) -> Result<BTreeMap<String, Box<dyn Link>>, BenchError> {
    let opened = join_all(bench.instruments.iter().map(|instrument| open(instrument, within))).await;
    let mut links = BTreeMap::new();
    for (instrument, link) in bench.instruments.iter().zip(opened) {
        if let Some(link) = link? {
            links.insert(instrument.name.value.clone(), link);
        }
    }
    Ok(links)
}

async fn open(instrument: &InstrumentText, within: Duration) -> Result<Option<Box<dyn Link>>, BenchError> {
    let LinkText::Tcp { host, port } = &instrument.link else {
        return Ok(None);
    };
    let link = TcpLink::open(&host.value, *port, within).await;
    link.map(|link| Some(Box::new(link) as Box<dyn Link>))
        .map_err(|error: LinkError| {
            let about = About {
                instrument: &instrument.name.value,
                command: "",
                elapsed: Duration::ZERO,
            };
            about.error(
                &format!(
                    "an instrument listening at {}:{port} ({})",
                    host.value,
                    host.span.place()
                ),
                &error.to_string(),
                error.mend(),
            )
        })
}
