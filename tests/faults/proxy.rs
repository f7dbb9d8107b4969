//! A bad line between the service and its broker: so many bytes a second, so late, and cut at any byte.

use std::{
    io::{Read as _, Write as _},
    net::{Shutdown, TcpListener, TcpStream},
    sync::{
        Arc,
        atomic::{AtomicI64, AtomicUsize, Ordering},
    },
    thread,
    time::Duration,
};

/// What the line is like; it may be changed at any time.
pub struct Line {
    pub port: u16,
    shared: Arc<Shared>,
}

struct Shared {
    broker: u16,
    /// Bytes a second, each way.
    speed: AtomicUsize,
    /// Milliseconds that each piece takes.
    latency: AtomicUsize,
    /// Bytes from the service until it is cut; negative: never.
    cut_after: AtomicI64,
    /// Connections refused from now on, as while a line is down.
    refuse: AtomicUsize,
    cuts: AtomicUsize,
}

/// So much is passed on at a time.
const PIECE: usize = 256;

impl Line {
    pub fn to(broker: u16) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let port = listener.local_addr().unwrap().port();
        let shared = Arc::new(Shared {
            broker,
            speed: AtomicUsize::new(10_000_000),
            latency: AtomicUsize::new(0),
            cut_after: AtomicI64::new(-1),
            refuse: AtomicUsize::new(0),
            cuts: AtomicUsize::new(0),
        });
        let line = Arc::clone(&shared);
        // Ends with the test's process.
        thread::spawn(move || {
            for stream in listener.incoming().map_while(Result::ok) {
                line.serve(stream);
            }
        });
        Self { port, shared }
    }

    pub fn slow(&self, bytes_a_second: usize, latency: usize) {
        self.shared.speed.store(bytes_a_second, Ordering::SeqCst);
        self.shared.latency.store(latency, Ordering::SeqCst);
    }

    /// Cuts the line after so many more bytes from the service; it is down for one attempt then.
    pub fn cut_after(&self, bytes: usize) {
        let bytes = i64::try_from(bytes).unwrap();
        self.shared.cut_after.store(bytes, Ordering::SeqCst);
    }

    pub fn cuts(&self) -> usize {
        self.shared.cuts.load(Ordering::SeqCst)
    }
}

impl Shared {
    fn serve(self: &Arc<Self>, service: TcpStream) {
        let take_one = |left: usize| left.checked_sub(1);
        let order = Ordering::SeqCst;
        if self.refuse.fetch_update(order, order, take_one).is_ok() {
            return;
        }
        let Ok(broker) = TcpStream::connect(("127.0.0.1", self.broker)) else {
            return;
        };
        let ways = [(&service, &broker, true), (&broker, &service, false)];
        for (from, to, is_ours) in ways {
            let (from, to) = (from.try_clone().unwrap(), to.try_clone().unwrap());
            let shared = Arc::clone(self);
            thread::spawn(move || {
                shared.pass(&from, &to, is_ours);
                let _ = from.shutdown(Shutdown::Both);
                let _ = to.shutdown(Shutdown::Both);
            });
        }
    }

    /// Until either side is gone, or the line is cut: what is left of the piece is lost then.
    fn pass(&self, mut from: &TcpStream, mut to: &TcpStream, is_ours: bool) {
        let mut piece = [0; PIECE];
        loop {
            let length = match from.read(&mut piece) {
                Ok(0) | Err(_) => return,
                Ok(length) => length,
            };
            let latency = self.latency.load(Ordering::SeqCst) as u64;
            let micros = length as u64 * 1_000_000 / self.speed.load(Ordering::SeqCst) as u64;
            thread::sleep(Duration::from_millis(latency) + Duration::from_micros(micros));
            let left = if is_ours {
                self.cut_after.load(Ordering::SeqCst)
            } else {
                -1
            };
            if left >= 0 && left < length as i64 {
                self.cut_after.store(-1, Ordering::SeqCst);
                let _ = to.write_all(&piece[..usize::try_from(left).unwrap()]);
                self.refuse.store(1, Ordering::SeqCst);
                self.cuts.fetch_add(1, Ordering::SeqCst);
                return;
            }
            if left >= 0 {
                self.cut_after.fetch_sub(length as i64, Ordering::SeqCst);
            }
            if to.write_all(&piece[..length]).is_err() {
                return;
            }
        }
    }
}
