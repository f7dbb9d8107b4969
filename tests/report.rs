//! The report of a period, of stores that the real installation and keeper filled in simulated weeks. Page
//! and tables are read, and the store's own figures taken, by parsers that share nothing with the program
//! (`tests/report/read.py`: Python's html.parser, csv and sqlite3).
#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

#[path = "report/asked.rs"]
mod asked;
#[path = "report/figures.rs"]
mod figures;
#[path = "report/filled.rs"]
mod filled;
#[path = "years/household.rs"]
#[allow(dead_code)]
mod household;
#[path = "report/page.rs"]
mod page;
