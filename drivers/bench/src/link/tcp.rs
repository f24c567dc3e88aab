//! A TCP socket. Nagle's algorithm is off: with it, two commands and a query wait 40 ms for a delayed acknowledgement.

use super::{Link, LinkError, Pending, Reopened};
use crate::scpi::Sink;
use std::future::ready;
use std::io::{ErrorKind, Read};
use std::pin::Pin;
use std::time::Duration;
use tokio::io::AsyncWriteExt;
use tokio::net::TcpStream;
use tokio::time::{Instant, Sleep, sleep, sleep_until, timeout_at};

/// Pause before the second attempt to connect again: some instruments free their only connection a little late.
const BEFORE_SECOND: Duration = Duration::from_millis(20);

/// A link over TCP.
pub struct TcpLink {
    address: String,
    socket: Option<Socket>,
}

struct Socket {
    stream: TcpStream,
    /// The same socket without the reactor: asks the kernel, not the reactor's memory, whether anything has come.
    direct: std::net::TcpStream,
    /// One timer for all deadlines: to put one off costs much less than to make one.
    timer: Pin<Box<Sleep>>,
}

impl Socket {
    /// At least one byte. The kernel is asked first: a quick instrument has answered by then. The timer is wound only where
    /// nothing is there yet. However quick it is, timers and other instruments get their turn.
    async fn read(&mut self, into: &mut dyn Sink, deadline: Instant) -> Result<(), LinkError> {
        tokio::task::coop::consume_budget().await;
        let mut first = true;
        loop {
            let read = if std::mem::take(&mut first) {
                self.direct.read(into.room())
            } else {
                self.stream.try_read(into.room())
            };
            match read {
                Ok(0) => return Err(LinkError::Closed),
                Ok(count) => {
                    into.filled(count);
                    return Ok(());
                }
                Err(error) if matches!(error.kind(), ErrorKind::WouldBlock | ErrorKind::Interrupted) => {}
                Err(error) => return Err(broken(&error)),
            }
            self.timer.as_mut().reset(deadline);
            tokio::select! {
                biased;
                ready = self.stream.readable() => ready.map_err(|error| broken(&error))?,
                () = &mut self.timer => return Err(LinkError::TimedOut),
            }
        }
    }
}

impl TcpLink {
    /// Connects. A refused connection is an error here and not at the first query.
    pub async fn open(host: &str, port: u16, within: Duration) -> Result<Self, LinkError> {
        let address = format!("{host}:{port}");
        let socket = connect(&address, Instant::now() + within).await?;
        Ok(Self {
            address,
            socket: Some(socket),
        })
    }

    fn socket(&mut self) -> Result<&mut Socket, LinkError> {
        self.socket.as_mut().ok_or(LinkError::Closed)
    }

    /// What the kernel takes at once; most messages are taken whole.
    fn write_at_once(&mut self, bytes: &[u8]) -> Result<usize, LinkError> {
        let written = match self.socket()?.stream.try_write(bytes) {
            Err(error) if error.kind() == ErrorKind::WouldBlock => Ok(0),
            written => written.map_err(|error| broken(&error)),
        };
        self.settle(written)
    }

    async fn write(&mut self, bytes: &[u8], deadline: Instant) -> Result<(), LinkError> {
        let stream = &mut self.socket()?.stream;
        let sent = timeout_at(deadline, stream.write_all(bytes)).await;
        self.settle(
            sent.map_err(|_| LinkError::TimedOut)
                .and_then(|result| result.map_err(|e| broken(&e))),
        )
    }

    async fn read(&mut self, into: &mut dyn Sink, deadline: Instant) -> Result<(), LinkError> {
        let read = self.socket()?.read(into, deadline).await;
        self.settle(read)
    }

    /// A closed or broken socket is never used again.
    fn settle<T>(&mut self, result: Result<T, LinkError>) -> Result<T, LinkError> {
        if matches!(result, Err(LinkError::Closed | LinkError::Broken(_))) {
            self.socket = None;
        }
        result
    }

    async fn connect_again(&mut self, deadline: Instant) -> Result<Reopened, LinkError> {
        self.socket = None;
        let mut socket = connect(&self.address, deadline).await;
        if socket.is_err() {
            // Two attempts only: a refused connection must be reported at once, not as a time-out.
            sleep(BEFORE_SECOND).await;
            socket = connect(&self.address, deadline).await;
        }
        self.socket = Some(socket?);
        Ok(Reopened::Fresh)
    }
}

impl Link for TcpLink {
    fn address(&self) -> String {
        self.address.clone()
    }

    fn send<'a>(&'a mut self, bytes: &'a [u8], deadline: Instant) -> Pending<'a, Result<(), LinkError>> {
        match self.write_at_once(bytes) {
            Ok(count) if count == bytes.len() => Box::pin(ready(Ok(()))),
            Ok(count) => Box::pin(self.write(&bytes[count..], deadline)),
            Err(error) => Box::pin(ready(Err(error))),
        }
    }

    fn receive<'a>(&'a mut self, into: &'a mut dyn Sink, deadline: Instant) -> Pending<'a, Result<(), LinkError>> {
        Box::pin(self.read(into, deadline))
    }

    fn arrived(&mut self, into: &mut dyn Sink) -> Result<(), LinkError> {
        loop {
            let result = match self.socket()?.direct.read(into.room()) {
                Ok(0) => Err(LinkError::Closed),
                Ok(count) => {
                    into.filled(count);
                    continue;
                }
                Err(error) if error.kind() == ErrorKind::WouldBlock => Ok(()),
                Err(error) if error.kind() == ErrorKind::Interrupted => continue,
                Err(error) => Err(broken(&error)),
            };
            return self.settle(result);
        }
    }

    fn reopen(&mut self, deadline: Instant) -> Pending<'_, Result<Reopened, LinkError>> {
        Box::pin(self.connect_again(deadline))
    }
}

async fn connect(address: &str, deadline: Instant) -> Result<Socket, LinkError> {
    let failed = |why: &dyn std::fmt::Display| LinkError::NotOpened {
        address: address.to_owned(),
        why: why.to_string(),
    };
    let stream = match timeout_at(deadline, TcpStream::connect(address)).await {
        Ok(Ok(stream)) => stream,
        Ok(Err(error)) => return Err(failed(&error)),
        Err(_) => return Err(failed(&"nothing answered in time")),
    };
    stream.set_nodelay(true).map_err(|error| failed(&error))?;
    let direct = duplicate(&stream).map_err(|error| failed(&error))?;
    let timer = Box::pin(sleep_until(deadline));
    Ok(Socket { stream, direct, timer })
}

#[cfg(unix)]
fn duplicate(stream: &TcpStream) -> std::io::Result<std::net::TcpStream> {
    use std::os::fd::AsFd;
    stream.as_fd().try_clone_to_owned().map(std::net::TcpStream::from)
}

#[cfg(windows)]
fn duplicate(stream: &TcpStream) -> std::io::Result<std::net::TcpStream> {
    use std::os::windows::io::AsSocket;
    stream.as_socket().try_clone_to_owned().map(std::net::TcpStream::from)
}

fn broken(error: &std::io::Error) -> LinkError {
    match error.kind() {
        ErrorKind::ConnectionReset | ErrorKind::ConnectionAborted | ErrorKind::BrokenPipe | ErrorKind::NotConnected => {
            LinkError::Closed
        }
        _ => LinkError::Broken(error.to_string()),
    }
}
