//! What the keeper did and found, into the maintenance log and what follows from it. A correction and a
//! withdrawal are entries, too: nothing is rewritten. A message that is delivered again changes nothing.

use super::{
    command::{Correction, Remark, Tested},
    filling::{FormerFilling, Replacement},
    hand_test::{HandResult, HandTest, HandTests},
    journal::{Deed, Entry, Particulars},
    output::{EventKind, Output},
    told::moment,
    unit::Unit,
};
use crate::{config::StageKind, physics::carbonate, time::Now};

impl Unit {
    pub(super) fn replace(&mut self, now: Now, replacement: Replacement) {
        let Some(stage) = self.stages.get(replacement.stage) else {
            return;
        };
        let settings = stage.settings();
        let (id, name, kind) = (settings.id.clone(), settings.name.clone(), settings.kind);
        let command = format!("stage/{id}/replaced");
        let ways = self.ways_of(stage);
        let deed = Deed::Replaced {
            stage: id.clone(),
            treated_l: stage.state().treated.litres(),
            lot: replacement.lot.clone(),
            price: replacement.price,
        };
        if self.is_told(
            now,
            &command,
            replacement.date,
            &deed,
            replacement.note.as_ref(),
        ) {
            return;
        }
        if let Some(reason) = self.why_outdated(now, &replacement) {
            return self.refuse(now, &command, reason);
        }
        let number = self.log(now, replacement.date, deed, replacement.note.clone());
        let Some(stage) = self.stages.get_mut(replacement.stage) else {
            return;
        };
        let record = stage.record(now, replacement.date, number, ways.as_ref());
        let resin = self.fillings.of(stage.settings()).cloned();
        let filling = stage.refill(now, &replacement, number);
        let load = filling.load;
        let (exposure, pressure) = self.take_replacement(now, replacement.stage, replacement.date);
        let mut former = FormerFilling {
            entry: number,
            filling,
            membrane: None,
            prefilters: self.watch.hydraulics.replaced(kind),
            pressure,
            resin,
            exposure,
        };
        self.costs.replaced(now, &id, &self.settings);
        self.fillings
            .replaced(replacement.stage, load, &mut self.stages);
        if kind == StageKind::Membrane {
            let replaced = self.membrane.replaced();
            let old = std::mem::replace(&mut self.membrane, replaced);
            former.membrane = Some(Box::new(old));
            self.take_in();
        }
        self.former_fillings.insert(id.clone(), former);
        let treated = record.treated.litres();
        let text = format!("{name} was replaced after {treated:.0} L (entry {number}).");
        self.event(now, EventKind::StageReplaced, Some(id), text.clone());
        self.outputs
            .push_back(Output::StageReplaced(Box::new(record)));
        self.answer(now, &command, &text);
    }

    /// Why a filling that is older than the present one cannot take its place, if so. A present one from
    /// the future has its date from a clock that was wrong.
    fn why_outdated(&self, now: Now, replacement: &Replacement) -> Option<String> {
        let state = self.stages.get(replacement.stage)?.state();
        let installed = state.installed.filter(|installed| *installed <= now.wall)?;
        replacement.date.filter(|date| *date < installed)?;
        let installed = moment(installed, &self.settings.time_zone);
        let entry = state.entry.map(|entry| format!(" (entry {entry})"));
        Some(format!(
            "the present filling is newer, of {installed}{}; correct its date where that is wrong, and \
             write a note about older ones",
            entry.unwrap_or_default()
        ))
    }

    pub(super) fn note(&mut self, now: Now, remark: Remark) {
        if !self.is_told(now, "note", remark.date, &Deed::Note, remark.note.as_ref()) {
            let number = self.log(now, remark.date, Deed::Note, remark.note);
            self.answer(now, "note", &format!("Entry {number}: noted."));
        }
    }

    pub(super) fn sanitised(&mut self, now: Now, remark: Remark) {
        let (command, deed) = ("sanitised", Deed::Sanitised);
        if !self.is_told(now, command, remark.date, &deed, remark.note.as_ref()) {
            let number = self.log(now, remark.date, deed, remark.note);
            let text = format!("Entry {number}: the unit was sanitised.");
            self.answer(now, command, &text);
        }
    }

    pub(super) fn tested(&mut self, now: Now, tested: Tested) {
        let Tested {
            test, value, after, ..
        } = tested;
        let command = format!("test/{}", test.key());
        let deed = Deed::Test {
            test,
            value,
            after: after.clone(),
        };
        if self.is_told(now, &command, tested.date, &deed, tested.note.as_ref()) {
            return;
        }
        let before = self.hand_tests.newest(test).cloned();
        let mut tests = self.hand_tests.clone();
        let result = HandResult {
            value,
            date: tested.date.or(now.date()),
            entry: self.journal.next_number(),
            after,
        };
        tests.take(test, result);
        if let Some(contradiction) = self.contradiction(test, &tests) {
            return self.refuse(now, &command, contradiction);
        }
        self.take_tests(tests);
        let words = deed.in_words(&self.settings.time_zone);
        let number = self.log(now, tested.date, deed, tested.note);
        let what_counts = self.what_counts(test, number, before.as_ref());
        self.answer(
            now,
            &command,
            &format!("Entry {number}: {words}.{what_counts}"),
        );
    }

    /// What a result that was just told changes.
    fn what_counts(&self, test: HandTest, number: u64, before: Option<&HandResult>) -> String {
        let newest = self.hand_tests.newest(test);
        let configured = self.settings.supply.chemistry.tested;
        let is_of_feed = test != HandTest::TotalChlorine;
        match (newest, before) {
            (Some(newest), _) if newest.entry != number => format!(
                " A newer one counts: {} (entry {}).",
                test.value_text(newest.value),
                newest.entry
            ),
            (Some(newest), _)
                if is_of_feed && newest.date.is_some() && newest.date < configured =>
            {
                " The configuration's figures are of a later day (`tested`) and count where it has \
                 one."
                    .to_owned()
            }
            (_, Some(before)) => format!(" Before: {}.", test.value_text(before.value)),
            (_, None) => String::new(),
        }
    }

    pub(super) fn withdraw(&mut self, now: Now, number: u64, note: Option<String>) {
        let command = format!("log/{number}/withdraw");
        let deed = Deed::Withdrawn { entry: number };
        if self.is_told(now, &command, None, &deed, note.as_ref()) {
            return;
        }
        let withdrawn = (self.journal.open(number).cloned())
            .and_then(|entry| self.undo(now, &entry).map(|text| (entry, text)));
        match withdrawn {
            Ok((entry, what)) => {
                let words = entry.deed.in_words(&self.settings.time_zone);
                let own = self.log(now, None, deed, note);
                let text = format!("Entry {own}: entry {number} ({words}) does not hold.{what}");
                self.answer(now, &command, &text);
            }
            Err(reason) => self.refuse(now, &command, reason),
        }
    }

    /// Takes back what followed from an entry, and says what holds instead.
    fn undo(&mut self, now: Now, entry: &Entry) -> Result<String, String> {
        match &entry.deed {
            Deed::Test { test, .. } => {
                let mut tests = self.hand_tests.clone();
                tests.forget(entry.number);
                self.take_tests(tests);
                let newest = self.hand_tests.newest(*test);
                Ok(newest.map_or_else(String::new, |newest| {
                    let value = test.value_text(newest.value);
                    format!(" What counts is {value} (entry {}).", newest.entry)
                }))
            }
            Deed::Replaced { stage, .. } => self.bring_back(now, entry.number, stage),
            Deed::HoldTest { .. }
            | Deed::Note
            | Deed::Sanitised
            | Deed::Corrected { .. }
            | Deed::Withdrawn { .. } => Ok(String::new()),
        }
    }

    /// The filling before the present one counts again.
    fn bring_back(&mut self, now: Now, number: u64, id: &str) -> Result<String, String> {
        let is_of = |stage: &super::stage::Stage| stage.settings().id == id;
        let place = self.stages.iter().position(is_of);
        let found = place.and_then(|place| Some((place, self.stages.get_mut(place)?)));
        let (place, stage) = found.ok_or_else(|| {
            format!("stage {id:?} of entry {number} is not in the configuration any more")
        })?;
        let former = self.former_fillings.remove(id);
        let former = match former {
            Some(former) if former.entry == number => former,
            other => {
                let last = stage.state().entry.filter(|last| *last != number);
                let why = last.map_or_else(
                    || "the filling before it is no longer at hand".to_owned(),
                    |last| format!("{id} was replaced again (entry {last})"),
                );
                self.former_fillings
                    .extend(other.map(|former| (id.to_owned(), former)));
                return Err(format!(
                    "entry {number} cannot be withdrawn, for {why}; only the last replacement of a \
                     stage can be"
                ));
            }
        };
        stage.take_back(former.filling);
        self.costs.brought_back(id, stage.price());
        let text = format!(
            " The old filling of {} counts again, with what passed since: {:.0} L.",
            stage.settings().name,
            stage.state().treated.litres()
        );
        if let Some(membrane) = former.membrane {
            self.membrane = self.membrane.taken_back(*membrane);
            // The last lesson was another element's: the dates must tell how long ago this one's was.
            self.taught_at = None;
            self.take_in();
        }
        if let Some(learned) = former.prefilters {
            match self.replaced_after(number, |later| later.prefilters.is_some()) {
                Some(later) => later.prefilters = Some(learned),
                None => self.watch.hydraulics.take_back(learned),
            }
        }
        let mut pressure = former.pressure;
        if pressure.is_some()
            && let Some(later) = self.replaced_after(number, |later| later.pressure.is_some())
        {
            later.pressure = pressure.take();
        }
        if let Some(resin) = former.resin {
            self.fillings.bring_back(place, resin, &mut self.stages);
        }
        self.take_back_replacement(now, place, former.exposure, pressure);
        Ok(text)
    }

    /// The filling that was replaced next after that entry. What is learned of all pre-filters together is
    /// what that one takes over, if it was one of them.
    fn replaced_after(
        &mut self,
        number: u64,
        fits: impl Fn(&FormerFilling) -> bool,
    ) -> Option<&mut FormerFilling> {
        (self.former_fillings.values_mut())
            .filter(|later| later.entry > number && fits(later))
            .min_by_key(|later| later.entry)
    }

    pub(super) fn correct(&mut self, now: Now, correction: Correction) {
        let number = correction.entry;
        let command = format!("log/{number}/correct");
        let corrected = (self.journal.open(number).cloned())
            .and_then(|entry| Ok((self.corrected(&entry, correction)?, entry)))
            .and_then(|(corrected, entry)| {
                let (mut was, mut new) = (entry.particulars(), corrected.particulars());
                was.keep_differences(&mut new);
                let changed = (&was, &new) != (&Particulars::default(), &Particulars::default());
                if changed {
                    self.take_correction(now, &corrected)?;
                }
                Ok(changed.then_some(Deed::Corrected {
                    entry: number,
                    was,
                    now: new,
                }))
            });
        match corrected {
            Ok(Some(deed)) => {
                let words = deed.in_words(&self.settings.time_zone);
                let own = self.log(now, None, deed, None);
                self.answer(now, &command, &format!("Entry {own} {words}."));
            }
            Ok(None) => {
                let text = format!("Entry {number} says so already; nothing more was done.");
                self.answer(now, &command, &text);
            }
            Err(reason) => self.refuse(now, &command, reason),
        }
    }

    /// The entry as it shall be.
    fn corrected(&self, entry: &Entry, correction: Correction) -> Result<Entry, String> {
        let is_replacement = matches!(entry.deed, Deed::Replaced { .. });
        let words = || {
            let words = entry.deed.in_words(&self.settings.time_zone);
            format!("entry {} ({words})", entry.number)
        };
        let mut particulars = entry.particulars();
        particulars.date = correction.date.or(particulars.date);
        if let Some(note) = correction.note {
            if note.is_none() && entry.deed == Deed::Note {
                return Err("a note without words is none; withdraw it instead".to_owned());
            }
            particulars.note = note;
        }
        if (correction.lot.is_some() || correction.price.is_some()) && !is_replacement {
            return Err(format!("{} has no lot and no price", words()));
        }
        particulars.lot = correction.lot.unwrap_or(particulars.lot);
        particulars.price = correction.price.unwrap_or(particulars.price);
        if let Some(text) = correction.value {
            let Deed::Test { test, .. } = entry.deed else {
                return Err(format!("{} has no value", words()));
            };
            particulars.value = Some(test.read_value(&self.settings, &text)?);
        }
        let mut corrected = entry.clone();
        corrected.set(particulars);
        Ok(corrected)
    }

    /// What follows from an entry that says something else now.
    fn take_correction(&mut self, now: Now, corrected: &Entry) -> Result<(), String> {
        match &corrected.deed {
            Deed::Test { test, value, after } => {
                let mut tests = self.hand_tests.clone();
                if tests.forget(corrected.number) {
                    let result = HandResult {
                        value: *value,
                        date: corrected.date,
                        entry: corrected.number,
                        after: after.clone(),
                    };
                    tests.take(*test, result);
                    if let Some(contradiction) = self.contradiction(*test, &tests) {
                        return Err(contradiction);
                    }
                    self.take_tests(tests);
                }
            }
            Deed::Replaced { lot, price, .. } => {
                let fillings = self.stages.iter_mut().map(|stage| &mut stage.state);
                let former = self.former_fillings.values_mut();
                let fillings = fillings.chain(former.map(|former| &mut former.filling));
                for filling in fillings.filter(|filling| filling.entry == Some(corrected.number)) {
                    filling.installed = corrected.date.or(filling.installed);
                    filling.lot.clone_from(lot);
                    filling.price = *price;
                }
                self.redate_filling(now, corrected);
            }
            Deed::HoldTest { .. }
            | Deed::Note
            | Deed::Sanitised
            | Deed::Corrected { .. }
            | Deed::Withdrawn { .. } => {}
        }
        Ok(())
    }

    /// Whether the results would say of the feed what no water has.
    fn contradiction(&self, test: HandTest, tests: &HandTests) -> Option<String> {
        if !matches!(test, HandTest::Ph | HandTest::Alkalinity) {
            return None;
        }
        let chemistry = tests.chemistry(&self.settings.supply.chemistry);
        let pair = (chemistry.alkalinity, chemistry.ph);
        if pair == (self.chemistry.alkalinity, self.chemistry.ph) {
            return None;
        }
        let sentence = carbonate::contradiction(pair.0?, pair.1?)?;
        Some(format!(
            "{sentence}; where an earlier one is wrong, withdraw or correct it first"
        ))
    }

    fn take_tests(&mut self, tests: HandTests) {
        self.hand_tests = tests;
        self.take_chemistry();
    }
}
