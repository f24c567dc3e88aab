//! A TCP socket. Nagle's algorithm is off: with it, two commands and a query wait 40 ms for a delayed acknowledgement.

use super::{Link, LinkError, Pending, Reopened};
use crate::scpi::Sink;
use std::io::{ErrorKind, Read};
use std::time::Duration;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;
use tokio::time::{Instant, sleep, timeout_at};

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

    async fn write(&mut self, bytes: &[u8], deadline: Instant) -> Result<(), LinkError> {
        let stream = &mut self.socket()?.stream;
        let sent = timeout_at(deadline, stream.write_all(bytes)).await;
        self.settle(
            sent.map_err(|_| LinkError::TimedOut)
                .and_then(|result| result.map_err(|e| broken(&e))),
        )
    }

    async fn read(&mut self, into: &mut dyn Sink, deadline: Instant) -> Result<(), LinkError> {
        let stream = &mut self.socket()?.stream;
        let read = match timeout_at(deadline, stream.read(into.room())).await {
            Err(_) => Err(LinkError::TimedOut),
            Ok(Ok(0)) => Err(LinkError::Closed),
            Ok(Ok(count)) => {
                into.filled(count);
                Ok(())
            }
            Ok(Err(error)) => Err(broken(&error)),
        };
        self.settle(read)
    }

    /// A closed or broken socket is never used again.
    fn settle(&mut self, result: Result<(), LinkError>) -> Result<(), LinkError> {
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
        Box::pin(self.write(bytes, deadline))
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
    Ok(Socket { stream, direct })
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
