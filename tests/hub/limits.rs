//! What joins ids must not coincide, and what is large must still pass.

use std::collections::BTreeSet;

use permeated::edge::mqtt::Limits;

use super::{
    ONE_SENSOR, Site, everything,
    told::{FORMS, in_form},
};

/// Unit `a_b` with a contact `leak`, unit `a` with a stage: what is joined must not coincide.
#[test]
fn two_daemons_and_units_with_alike_ids_do_not_collide() {
    let unique = |text: &str| -> BTreeSet<String> {
        let entities = Site::new(text).entities();
        let named = entities
            .iter()
            .filter(|entity| entity.body.contains_key("unique_id"));
        named
            .map(|entity| entity.text("unique_id").to_owned())
            .collect()
    };
    let one = unique(ONE_SENSOR);
    let other = unique(&format!("[publish]\nprefix = \"other\"\n{ONE_SENSOR}"));
    assert!(one.is_disjoint(&other));
    let set = unique(&format!("[hub]\ninstance = \"attic\"\n{ONE_SENSOR}"));
    assert!(set.iter().all(|id| id.starts_with("attic")), "{set:?}");
    let alike = ONE_SENSOR.replace(".u.", ".u_alert.");
    let leak = "[[unit.u_alert.sensor]]\nat = \"leak\"\ntopic = \"l\"\n[[unit.u.sensor]]\nat = \"leak\"\ntopic = \"l\"\n";
    for form in FORMS {
        // The rules refuse a unique id that comes twice.
        Site::new(&in_form(form, &format!("{alike}{ONE_SENSOR}{leak}"))).entities();
    }
}

/// The limit is our own for a packet (a managed broker may have a smaller one: README).
#[test]
fn the_largest_usual_device_passes_and_a_larger_one_is_told_in_parts() {
    let site = Site::new(&everything());
    let largest = site.discovery().values().map(String::len).max().unwrap();
    println!("a unit with a sensor at every point: {largest} bytes");
    assert!(largest * 2 < Limits::default().packet, "{largest}");
    let mut text = everything();
    for number in 0..200 {
        text += &format!(
            "[[unit.a.stage]]\nid = \"extra-{number}\"\nkind = \"mixed_bed\"\nlife = \"100 L\"\n"
        );
    }
    let site = Site::new(&text);
    site.entities();
    let largest = site.discovery().values().map(String::len).max().unwrap();
    assert!(largest < Limits::default().packet, "{largest}");
    assert!(
        site.discovery()
            .contains_key("homeassistant/sensor/permeated_a/state/config")
    );
    assert!(
        !site
            .discovery()
            .contains_key("homeassistant/device/permeated/a/config")
    );
}
