//! Takes keys out of a table of the tree, one by one. Owns the refusal of unknown keys and of
//! missing ones; what a single value may be is `field`'s.

use super::{
    field::Field,
    nearest::hint,
    report::Report,
    secret,
    tree::{Node, Table, Value},
};

/// A table that is being read.
pub(super) struct Reader<'r> {
    pub(super) report: &'r Report<'r>,
    pub(super) path: String,
    node: &'r Node,
    table: &'r Table,
}

impl<'r> Reader<'r> {
    /// Reads `node`, which must be a table, and reports every key that is not one of `keys`.
    pub(super) fn open(field: &Field<'r>, keys: &[&str]) -> Option<Self> {
        let reader = Self::open_any(field)?;
        for (key, node) in reader.table {
            if !keys.contains(&key.as_str()) {
                reader.refuse(key, node, keys);
            }
        }
        Some(reader)
    }

    /// Reads `node`, which must be a table, whose keys are names chosen by the owner.
    pub(super) fn open_any(field: &Field<'r>) -> Option<Self> {
        let Value::Table(table) = &field.node.value else {
            field.wrong_kind("a table of its own");
            return None;
        };
        Some(Self {
            report: field.report,
            path: field.path.clone(),
            node: field.node,
            table,
        })
    }

    /// What stands under `key`.
    pub(super) fn field(&self, key: &str) -> Option<Field<'r>> {
        self.table.get(key).map(|node| Field {
            report: self.report,
            node,
            path: self.path_of(key),
        })
    }

    /// The table under `key`, its keys checked.
    pub(super) fn table(&self, key: &str, keys: &[&str]) -> Option<Self> {
        Self::open(&self.field(key)?, keys)
    }

    /// The tables of the list under `key`; none when it is not there.
    pub(super) fn tables(&self, key: &str, keys: &[&str]) -> Vec<Self> {
        let Some(field) = self.field(key) else {
            return Vec::new();
        };
        let Value::List(nodes) = &field.node.value else {
            let header = field.path.replace(['[', ']'], "");
            field.wrong_kind(&format!("a list of tables, each begun with [[{header}]],"));
            return Vec::new();
        };
        (1..)
            .zip(nodes)
            .filter_map(|(number, node)| {
                let field = Field {
                    report: self.report,
                    node,
                    path: format!("{}[{number}]", field.path),
                };
                Self::open(&field, keys)
            })
            .collect()
    }

    /// Every entry, in the order of the keys.
    pub(super) fn fields(&self) -> impl Iterator<Item = (&'r str, Field<'r>)> + '_ {
        self.table.iter().map(|(key, node)| {
            let field = Field {
                report: self.report,
                node,
                path: self.path_of(key),
            };
            (key.as_str(), field)
        })
    }

    pub(super) fn has(&self, key: &str) -> bool {
        self.table.contains_key(key)
    }

    /// Reports `key` when it is missing; `example` is a line that would do.
    pub(super) fn require(&self, key: &str, example: &str) {
        if !self.has(key) {
            self.missing(&format!("{key:?} is missing; write for example {example}"));
        }
    }

    /// Something is missing from this table.
    pub(super) fn missing(&self, sentence: &str) {
        self.report.absent(&self.node.origin, &self.path, sentence);
    }

    /// The table as a whole is wrong.
    pub(super) fn wrong(&self, sentence: impl Into<String>) {
        self.report.wrong(&self.node.origin, &self.path, sentence);
    }

    /// The key is there but may not be.
    pub(super) fn misplaced(&self, key: &str, sentence: impl Into<String>) {
        if let Some(node) = self.table.get(key) {
            self.report.wrong(&node.key, &self.path_of(key), sentence);
        }
    }

    /// Reports that both keys are there though either says it all.
    pub(super) fn not_both(&self, one: &str, other: &str) {
        if self.has(one) && self.has(other) {
            self.misplaced(
                other,
                format!("write either {one:?} or {other:?}, not both"),
            );
        }
    }

    fn path_of(&self, key: &str) -> String {
        if self.path.is_empty() {
            key.to_owned()
        } else {
            format!("{}.{key}", self.path)
        }
    }

    fn refuse(&self, key: &str, node: &Node, keys: &[&str]) {
        let path = self.path_of(key);
        if secret::PASSWORD_KEYS.contains(&key) {
            let hidden = match &node.value {
                Value::Table(_) => &node.key,
                _ => &node.origin,
            };
            self.report.wrong_hidden(
                hidden,
                &path,
                "a password does not belong in this file; put it alone in a file only the \
                 service may read and name that with password_file in [broker]",
            );
            return;
        }
        let mut allowed = keys.to_vec();
        allowed.sort_unstable();
        self.report.wrong(
            &node.key,
            &path,
            format!(
                "unknown key {key:?}{}; known here: {}",
                hint(key, keys),
                allowed.join(", ")
            ),
        );
    }
}

/// A reader over the whole document.
pub(super) fn document<'r>(
    root: &'r Node,
    report: &'r Report<'r>,
    keys: &[&str],
) -> Option<Reader<'r>> {
    let field = Field {
        report,
        node: root,
        path: String::new(),
    };
    Reader::open(&field, keys)
}
