//! A server that takes notices, or does not: it answers by a script, then 200 for ever.
#![allow(dead_code)] // Each test file uses a part of it.

use std::{
    collections::VecDeque,
    io::{BufRead as _, BufReader, Read, Write},
    net::{TcpListener, TcpStream},
    sync::{Arc, Mutex},
    thread,
    time::{Duration, Instant},
};

/// What it does with a request.
#[derive(Clone, Copy, Debug)]
pub enum Reply {
    /// Answers with this status and these header lines.
    Status(u16, &'static str),
    /// Reads it and says nothing until the other side gives up.
    Stall,
    /// Reads it and closes.
    Die,
    /// Answers 200, announces a body and closes in the middle of it.
    DieMidAnswer,
}

/// A request as it came.
#[derive(Clone, Debug)]
pub struct Received {
    pub at: Instant,
    /// Request line and headers, the names in lower case.
    pub head: Vec<String>,
    pub body: String,
}

impl Received {
    pub fn header(&self, name: &str) -> Option<&str> {
        let start = format!("{name}: ");
        self.head.iter().find_map(|line| line.strip_prefix(&start))
    }
}

pub struct Receiver {
    pub port: u16,
    received: Arc<Mutex<Vec<Received>>>,
}

impl Receiver {
    pub fn start(script: &[Reply]) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let port = listener.local_addr().unwrap().port();
        let received: Arc<Mutex<Vec<Received>>> = Arc::default();
        let script = Arc::new(Mutex::new(script.iter().copied().collect::<VecDeque<_>>()));
        let (to, replies) = (Arc::clone(&received), Arc::clone(&script));
        thread::spawn(move || {
            for stream in listener.incoming().map_while(Result::ok) {
                let (to, replies) = (Arc::clone(&to), Arc::clone(&replies));
                thread::spawn(move || serve(stream, &to, &replies));
            }
        });
        Self { port, received }
    }

    pub fn received(&self) -> Vec<Received> {
        self.received.lock().unwrap().clone()
    }

    /// The idempotency keys in the order of their coming.
    pub fn keys(&self) -> Vec<String> {
        let received = self.received();
        let keys = received
            .iter()
            .map(|request| request.header("idempotency-key"));
        keys.map(|key| key.unwrap().to_owned()).collect()
    }
}

fn serve(stream: TcpStream, to: &Mutex<Vec<Received>>, script: &Mutex<VecDeque<Reply>>) {
    stream
        .set_read_timeout(Some(Duration::from_secs(20)))
        .unwrap();
    let mut stream = BufReader::new(stream);
    let mut head = Vec::new();
    let mut length = 0;
    loop {
        let mut line = String::new();
        if stream.read_line(&mut line).unwrap_or(0) == 0 {
            return;
        }
        let line = line.trim_end();
        if line.is_empty() {
            break;
        }
        let line = match line.split_once(": ") {
            Some((name, value)) => format!("{}: {value}", name.to_lowercase()),
            None => line.to_owned(),
        };
        if let Some(value) = line.strip_prefix("content-length: ") {
            length = value.parse().unwrap();
        }
        head.push(line);
    }
    let mut body = vec![0; length];
    stream.read_exact(&mut body).unwrap();
    let reply = script.lock().unwrap().pop_front();
    to.lock().unwrap().push(Received {
        at: Instant::now(),
        head,
        body: String::from_utf8(body).unwrap(),
    });
    let stream = stream.get_mut();
    // Who asked may be gone.
    let _ = match reply.unwrap_or(Reply::Status(200, "")) {
        Reply::Status(status, headers) => stream.write_all(
            format!("HTTP/1.1 {status} So\r\n{headers}Content-Length: 9\r\n\r\nthe cause")
                .as_bytes(),
        ),
        Reply::Stall => stream.read(&mut [0; 1]).map(drop),
        Reply::Die => Ok(()),
        Reply::DieMidAnswer => {
            stream.write_all(b"HTTP/1.1 200 OK\r\nContent-Length: 50\r\n\r\nhalf")
        }
    };
}
