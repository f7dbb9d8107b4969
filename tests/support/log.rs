//! Catches what is logged on the thread of a test.

use std::{
    cell::RefCell,
    io,
    sync::{Arc, Mutex, Once},
};

thread_local! {
    static CAUGHT: RefCell<Option<Arc<Mutex<Vec<u8>>>>> = const { RefCell::new(None) };
}

/// The log of this thread while it lives.
pub struct Log(Arc<Mutex<Vec<u8>>>);

/// Writes to whatever the thread it runs on has caught. One subscriber for the whole process: those
/// set for a thread are not always heard when several threads have one.
struct Writer;

impl io::Write for Writer {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        CAUGHT.with_borrow(|caught| {
            if let Some(caught) = caught {
                caught.lock().unwrap().extend_from_slice(bytes);
            }
        });
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl Log {
    /// Begins to catch everything down to `TRACE`.
    pub fn catch() -> Self {
        static SUBSCRIBED: Once = Once::new();
        SUBSCRIBED.call_once(|| {
            tracing_subscriber::fmt()
                .with_max_level(tracing::Level::TRACE)
                .with_ansi(false)
                .with_writer(|| Writer)
                .init();
        });
        let text = Arc::new(Mutex::new(Vec::new()));
        CAUGHT.set(Some(Arc::clone(&text)));
        Self(text)
    }

    /// Everything so far.
    pub fn text(&self) -> String {
        String::from_utf8_lossy(&self.0.lock().unwrap()).into_owned()
    }

    /// How many lines hold all of `words`.
    pub fn lines_with(&self, words: &[&str]) -> usize {
        (self.text().lines())
            .filter(|line| words.iter().all(|word| line.contains(word)))
            .count()
    }
}

impl Drop for Log {
    fn drop(&mut self) {
        CAUGHT.set(None);
    }
}
