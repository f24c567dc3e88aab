//! The runner's trait.

use super::open::Wired;
use pilotage_evidence::event::Exchange;
use pilotage_plan::program::{CaptureSpec, EnergisingOrder, Order, QuietOrder, ReadSpec};
use pilotage_run::permit::Permit;
use pilotage_run::world::{Answer, Bench, BenchError, Captured, Clock, Identity, Lane, Queues};

impl<C: Clock> Bench for Wired<C> {
    async fn identify(&self) -> Result<Vec<Identity>, BenchError> {
        self.identify_all().await
    }

    fn messages(&self, order: &Order) -> Vec<(String, String)> {
        self.messages_of(order)
    }

    async fn apply(&self, order: &QuietOrder, lane: Lane) -> Result<Vec<Exchange>, BenchError> {
        self.set(order.order(), lane, None).await
    }

    async fn energise(&self, order: &EnergisingOrder, permit: Permit) -> Result<Vec<Exchange>, BenchError> {
        self.set(order.order(), Lane::Work, Some(Box::new(move |now| permit.check(now))))
            .await
    }

    async fn read(&self, what: &ReadSpec, lane: Lane) -> Result<Answer, BenchError> {
        self.take(what, lane, false).await
    }

    async fn read_all(&self, what: &[ReadSpec]) -> Vec<Result<Answer, BenchError>> {
        self.take_all(what).await
    }

    async fn arm(&self, capture: &CaptureSpec) -> Result<Vec<Exchange>, BenchError> {
        self.arm_all(capture).await
    }

    async fn fetch(&self, capture: &CaptureSpec) -> Result<Captured, BenchError> {
        self.fetch_all(capture).await
    }

    fn alive(&self) {
        self.life.show(self.clock.now());
    }

    async fn drain(&self, queues: Queues) -> Result<Vec<Exchange>, BenchError> {
        self.drain_queues(queues).await
    }
}
