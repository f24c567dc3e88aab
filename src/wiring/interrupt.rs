//! Ctrl-C, in real time and for a run in virtual time. The runtime of the latter has no input and output of its own: a clock that jumps from event to event
//! would ask the system for news at every jump. One thread of the process waits for the signal instead.

use std::sync::OnceLock;
use tokio::sync::watch;

static PRESSED: OnceLock<watch::Receiver<bool>> = OnceLock::new();

/// Returns when Ctrl-C was pressed since the first call in this process; never where the system lets nobody wait for it.
pub async fn pressed() {
    let mut pressed = PRESSED.get_or_init(listen).clone();
    if pressed.wait_for(|pressed| *pressed).await.is_err() {
        std::future::pending::<()>().await;
    }
}

/// Returns when Ctrl-C is pressed, on a runtime in real time. Where the system lets nobody wait for it, at once: a run that
/// nobody can stop does not go on.
pub async fn pressed_in_real_time() {
    let _refused = tokio::signal::ctrl_c().await;
}

/// Whether Ctrl-C was pressed since the first call of [`pressed`] in this process.
pub fn was_pressed() -> bool {
    PRESSED.get().is_some_and(|pressed| *pressed.borrow())
}

fn listen() -> watch::Receiver<bool> {
    let (tell, pressed) = watch::channel(false);
    // A runtime or a thread that cannot be had drops the sender: nobody is told, as without a listener.
    let waits = move || {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_io().build();
        if let Ok(runtime) = runtime
            && runtime.block_on(tokio::signal::ctrl_c()).is_ok()
        {
            let _nobody_runs = tell.send(true);
        }
    };
    let _without = std::thread::Builder::new().name("ctrl-c".to_owned()).spawn(waits);
    pressed
}
