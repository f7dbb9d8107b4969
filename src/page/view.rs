//! What of the page is asked for: the place, the span of the graphs, whether it refreshes itself. Owns
//! the addresses; all are relative, so that a proxy may put the page under a path of its own.

use std::time::Duration;

const DAY: u64 = 86_400;

/// Which page.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Place {
    /// `/`: the only unit, or the list of them.
    Top,
    /// `/unit/<id>`: a unit.
    Unit(String),
    /// Any other path, with so many levels below the top.
    Nowhere(usize),
}

/// How far back the graphs look.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Span {
    /// 24 hours.
    Day,
    /// Seven days.
    Week,
    /// A month.
    #[default]
    Month,
    /// A year.
    Year,
    /// Everything that is kept.
    All,
}

impl Span {
    /// Every one, the shortest first.
    pub const ALL: [Self; 5] = [Self::Day, Self::Week, Self::Month, Self::Year, Self::All];

    /// As written in addresses and on the page.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::Day => "day",
            Self::Week => "week",
            Self::Month => "month",
            Self::Year => "year",
            Self::All => "all",
        }
    }

    /// Its length; `None` without end.
    #[must_use]
    pub fn length(self) -> Option<Duration> {
        let days = match self {
            Self::Day => 1,
            Self::Week => 7,
            Self::Month => 31,
            Self::Year => 366,
            Self::All => return None,
        };
        Some(Duration::from_secs(days * DAY))
    }
}

/// What was asked for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct View {
    /// Which page.
    pub place: Place,
    /// How far back its graphs look.
    pub span: Span,
    /// Whether it loads itself anew.
    pub refreshes: bool,
}

impl View {
    /// What a path and a query ask for. What a query says that is not known is passed over.
    #[must_use]
    pub fn of(path: &str, query: Option<&str>) -> Self {
        let allowed = |c: char| c.is_ascii_alphanumeric() || c == '_' || c == '-';
        let place = match path.strip_prefix("/unit/") {
            _ if path == "/" => Place::Top,
            Some(id) if !id.is_empty() && id.chars().all(allowed) => Place::Unit(id.to_owned()),
            Some(_) | None => Place::Nowhere(path.matches('/').count().saturating_sub(1)),
        };
        let mut view = Self {
            place,
            span: Span::default(),
            refreshes: true,
        };
        for part in query.unwrap_or_default().split('&') {
            match part.split_once('=') {
                Some(("span", key)) => {
                    let known = Span::ALL.into_iter().find(|span| span.key() == key);
                    view.span = known.unwrap_or(view.span);
                }
                Some(("refresh", "off")) => view.refreshes = false,
                Some(_) | None => {}
            }
        }
        view
    }

    /// The way from this page to the top.
    pub(super) fn top(&self) -> String {
        match self.place {
            Place::Top | Place::Nowhere(0) => "./".to_owned(),
            Place::Unit(_) => "../".to_owned(),
            Place::Nowhere(levels) => "../".repeat(levels),
        }
    }

    /// The address of a unit's page.
    pub(super) fn unit(&self, id: &str) -> String {
        format!(
            "{}unit/{id}{}",
            self.top(),
            self.query(self.span, self.refreshes)
        )
    }

    /// The address of the list.
    pub(super) fn list(&self) -> String {
        format!("{}{}", self.top(), self.query(self.span, self.refreshes))
    }

    /// The same page with another span.
    pub(super) fn with_span(&self, span: Span) -> String {
        format!("{}#over-time", self.same(span, self.refreshes))
    }

    /// The same page that refreshes itself, or does not.
    pub(super) fn with_refresh(&self, refreshes: bool) -> String {
        self.same(self.span, refreshes)
    }

    fn same(&self, span: Span, refreshes: bool) -> String {
        let own = match &self.place {
            Place::Top | Place::Nowhere(_) => "./",
            Place::Unit(id) => id,
        };
        format!("{own}{}", self.query(span, refreshes))
    }

    fn query(&self, span: Span, refreshes: bool) -> String {
        let span = (span != Span::default()).then(|| format!("span={}", span.key()));
        let refresh = (!refreshes).then(|| "refresh=off".to_owned());
        let parts: Vec<String> = span.into_iter().chain(refresh).collect();
        if parts.is_empty() {
            String::new()
        } else {
            format!("?{}", parts.join("&"))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses_lead_back_to_what_was_asked() {
        let view = View::of("/unit/kitchen", Some("span=year&refresh=off&x=1&span"));
        assert_eq!(view.place, Place::Unit("kitchen".to_owned()));
        assert_eq!((view.span, view.refreshes), (Span::Year, false));
        assert_eq!(view.with_span(Span::Month), "kitchen?refresh=off#over-time");
        assert_eq!(view.with_refresh(true), "kitchen?span=year");
        assert_eq!(view.unit("attic"), "../unit/attic?span=year&refresh=off");
        let top = View::of("/", Some("span=century"));
        assert_eq!(top.span, Span::Month);
        assert_eq!(top.with_span(Span::Day), "./?span=day#over-time");
        assert_eq!(top.unit("attic"), "./unit/attic");
        for (nowhere, top) in [
            ("", "./"),
            ("/x", "./"),
            ("/unit", "./"),
            ("/unit/", "../"),
            ("/unit/a/b", "../../"),
            ("/unit/%3Cscript%3E", "../"),
            ("/unit/ä", "../"),
        ] {
            let view = View::of(nowhere, None);
            assert!(matches!(view.place, Place::Nowhere(_)), "{nowhere}");
            assert_eq!(view.top(), top, "{nowhere}");
        }
    }
}
