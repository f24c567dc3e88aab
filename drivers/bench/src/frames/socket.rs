//! An interface of the system to a CAN bus (`SocketCAN`, on Linux): a thread of its own sends what is due and notes what comes, so that
//! commands go on at their period whatever the bench does, and stop when the bench goes away. One that hangs does not go away: what it
//! told goes on only while it shows life.

use crate::link::{LinkError, Now};
use pilotage_core::frames::{Life, Map, Node};
use std::path::Path;

/// Whether the system says that an interface has no hardware behind it: what is sent there stays on this machine.
pub fn stays_on_this_machine(interface: &str) -> bool {
    let folder = Path::new("/sys/class/net").join(interface);
    folder.is_dir() && !folder.join("device").exists()
}

/// Opens an interface by the name that the system gives to it, for an owner who must show life while it sends.
pub fn open(interface: &str, map: Map, owner: &Life, now: &Now) -> Result<Socket, LinkError> {
    let mut node = Node::new(map);
    node.owned_by(owner.clone());
    system::open(interface, node, now).map_err(|why| LinkError::NotOpened {
        address: format!("can {interface}"),
        why,
    })
}

pub use system::Socket;

#[cfg(target_os = "linux")]
mod system {
    use super::super::device::NodeAt;
    use crate::link::Now;
    use pilotage_core::RunTime;
    use pilotage_core::frames::{Frame, Id, Node};
    use socketcan::{CanFrame, CanSocket, EmbeddedFrame, ExtendedId, Socket as _, StandardId};
    use std::io::ErrorKind;
    use std::sync::atomic::{AtomicBool, Ordering};
    use std::sync::{Arc, Mutex, PoisonError};
    use std::thread::JoinHandle;
    use std::time::Duration;

    /// The longest that is waited for a frame before it is looked whether anything is due.
    const LOOK_EVERY: Duration = Duration::from_millis(5);

    /// A party on the bus of an interface.
    pub struct Socket {
        shared: Arc<Shared>,
        thread: Option<JoinHandle<()>>,
    }

    struct Shared {
        node: Mutex<Node>,
        ended: AtomicBool,
        failed: Mutex<Option<String>>,
    }

    pub(super) fn open(interface: &str, node: Node, now: &Now) -> Result<Socket, String> {
        let socket = CanSocket::open(interface).map_err(|error| error.to_string())?;
        let shared = Arc::new(Shared {
            node: Mutex::new(node),
            ended: AtomicBool::new(false),
            failed: Mutex::new(None),
        });
        let (own, now) = (Arc::clone(&shared), Arc::clone(now));
        let live = move || {
            if let Err(why) = own.live(&socket, &now) {
                *own.failed.lock().unwrap_or_else(PoisonError::into_inner) = Some(why);
            }
        };
        let thread = std::thread::Builder::new()
            .name(format!("can {interface}"))
            .spawn(live)
            .map_err(|error| error.to_string())?;
        Ok(Socket {
            shared,
            thread: Some(thread),
        })
    }

    impl Shared {
        /// Until it is ended, or the interface is gone.
        fn live(&self, socket: &CanSocket, now: &Now) -> Result<(), String> {
            while !self.ended.load(Ordering::Relaxed) {
                let due = self.send_what_is_due(socket, now())?;
                let wait = due.map_or(LOOK_EVERY, |due| due.since(now()).min(LOOK_EVERY));
                match socket.read_frame_timeout(wait) {
                    Ok(CanFrame::Data(data)) => {
                        let id = match data.id() {
                            socketcan::Id::Standard(id) => Id::Standard(id.as_raw()),
                            socketcan::Id::Extended(id) => Id::Extended(id.as_raw()),
                        };
                        let at = now();
                        if let Some(frame) = Frame::new(id, data.data()) {
                            self.node().received(&frame, at);
                        }
                    }
                    Ok(_) => {}
                    Err(error)
                        if matches!(
                            error.kind(),
                            ErrorKind::TimedOut | ErrorKind::WouldBlock | ErrorKind::Interrupted
                        ) => {}
                    Err(error) => return Err(error.to_string()),
                }
            }
            Ok(())
        }

        fn send_what_is_due(&self, socket: &CanSocket, now: RunTime) -> Result<Option<RunTime>, String> {
            let (frames, due) = {
                let mut node = self.node();
                (node.transmit(now), node.due())
            };
            for frame in frames {
                let made = made(&frame).ok_or_else(|| format!("the identifier {} does not exist", frame.id))?;
                socket.write_frame_insist(&made).map_err(|error| error.to_string())?;
            }
            Ok(due)
        }

        fn node(&self) -> std::sync::MutexGuard<'_, Node> {
            self.node.lock().unwrap_or_else(PoisonError::into_inner)
        }
    }

    fn made(frame: &Frame) -> Option<CanFrame> {
        match frame.id {
            Id::Standard(id) => CanFrame::new(StandardId::new(id)?, frame.data()),
            Id::Extended(id) => CanFrame::new(ExtendedId::new(id)?, frame.data()),
        }
    }

    impl NodeAt for Socket {
        fn can_hold_the_bus(&self) -> bool {
            false
        }

        fn with(&mut self, _: RunTime, work: &mut dyn FnMut(&mut Node)) -> Result<(), String> {
            let failed = self.shared.failed.lock().unwrap_or_else(PoisonError::into_inner);
            if let Some(why) = failed.as_ref() {
                return Err(why.clone());
            }
            work(&mut self.shared.node());
            Ok(())
        }
    }

    impl Drop for Socket {
        fn drop(&mut self) {
            self.shared.ended.store(true, Ordering::Relaxed);
            if let Some(thread) = self.thread.take() {
                // A thread that panicked has sent its last frame anyway.
                let _ = thread.join();
            }
        }
    }
}

#[cfg(not(target_os = "linux"))]
mod system {
    use super::super::device::NodeAt;
    use crate::link::Now;
    use pilotage_core::RunTime;
    use pilotage_core::frames::Node;

    /// A party on the bus of an interface: there are none on this system.
    pub struct Socket(std::convert::Infallible);

    pub(super) fn open(_: &str, _: Node, _: &Now) -> Result<Socket, String> {
        Err("interfaces to a CAN bus are opened on Linux only".to_owned())
    }

    impl NodeAt for Socket {
        fn with(&mut self, _: RunTime, _: &mut dyn FnMut(&mut Node)) -> Result<(), String> {
            match self.0 {}
        }
    }
}
