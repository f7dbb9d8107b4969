//! What a service manager is told (sd_notify(3)), and SIGHUP: the test is the manager, at the other end
//! of the socket.

use std::{
    fs,
    os::unix::net::UnixDatagram,
    sync::{Arc, Mutex},
    thread,
    time::Duration,
};

use crate::{
    COUNTED,
    site::{Service, Site, until},
    support::Mosquitto,
};

/// A manager that listens at a socket of its own and writes down all it is told.
struct Manager {
    path: String,
    told: Arc<Mutex<Vec<String>>>,
}

impl Manager {
    fn at(site: &Site) -> Self {
        let path = site.folder().join("notify");
        let socket = UnixDatagram::bind(&path).unwrap();
        let told = Arc::new(Mutex::new(Vec::new()));
        let lines = Arc::clone(&told);
        // Ends with the test's process.
        thread::spawn(move || {
            let mut buffer = [0; 4096];
            while let Ok(length) = socket.recv(&mut buffer) {
                let text = String::from_utf8_lossy(&buffer[..length]).into_owned();
                let mut lines = lines.lock().unwrap();
                lines.extend(text.lines().map(str::to_owned));
            }
        });
        Self {
            path: path.display().to_string(),
            told,
        }
    }

    /// Starts the service under it; signs of life are wanted every `watchdog`, if at all.
    fn start(&self, site: &Site, watchdog: Option<Duration>) -> Service {
        let limit = watchdog.map(|limit| limit.as_micros().to_string());
        let mut environment = vec![("NOTIFY_SOCKET", self.path.as_str())];
        environment.extend(limit.as_deref().map(|limit| ("WATCHDOG_USEC", limit)));
        site.launch_with(&environment)
    }

    fn count(&self, line: &str) -> usize {
        let told = self.told.lock().unwrap();
        told.iter().filter(|told| told.starts_with(line)).count()
    }
}

#[test]
fn ready_is_told_once_the_broker_is_there_and_signs_of_life_follow() {
    let site = Site::new("", COUNTED);
    let manager = Manager::at(&site);
    // The broker answers nobody for the moment.
    site.broker.freeze();
    let service = manager.start(&site, Some(Duration::from_millis(900)));
    until("signs of life", || manager.count("WATCHDOG=1") >= 2);
    assert_eq!(manager.count("READY=1"), 0, "not without a broker");
    site.broker.thaw();
    until("ready", || manager.count("READY=1") == 1);
    until("a word on it", || {
        manager.count("STATUS=connected to the broker") == 1
    });
    service.terminate();
    assert_eq!(manager.count("STOPPING=1"), 1);
    assert_eq!(manager.count("READY=1"), 1);
}

#[test]
fn a_loop_that_hangs_gives_no_signs_of_life() {
    let site = Site::new("", COUNTED);
    let manager = Manager::at(&site);
    let service = manager.start(&site, Some(Duration::from_millis(300)));
    until("signs of life", || manager.count("WATCHDOG=1") >= 3);
    // The whole process stands still, as a loop in a dead end would.
    service.signal("-STOP");
    thread::sleep(Duration::from_millis(100));
    let before = manager.count("WATCHDOG=1");
    thread::sleep(Duration::from_millis(700));
    assert_eq!(manager.count("WATCHDOG=1"), before);
    service.signal("-CONT");
    until("it goes on", || manager.count("WATCHDOG=1") > before);
}

#[test]
fn an_absent_broker_keeps_the_manager_waiting_a_stated_time_only() {
    let mut site = Site::new("", COUNTED);
    site.broker.kill();
    let manager = Manager::at(&site);
    let service = manager.start(&site, None);
    until("ready all the same", || manager.count("READY=1") == 1);
    assert!(service.log().contains("without a broker after 15 s"));
    assert!(manager.count("STATUS=no broker yet, trying again: ") == 1);
}

/// Two units where there was one: the count goes on, nobody is told `offline`, and what left is gone.
#[test]
fn a_configuration_is_read_anew_while_the_service_runs() {
    let site = Site::at(Mosquitto::start(Mosquitto::PERSISTENT), COUNTED);
    let manager = Manager::at(&site);
    let mut service = manager.start(&site, None);
    site.hears(0);
    site.broker.publish("rig/pulses", "1000", &[]);
    site.broker.publish("rig/pulses", "4000", &[]);
    until("three litres", || {
        site.value("permeated/u/value/permeate_l") == Some(3.0)
    });
    let statuses = site.broker.watch("permeated/status");
    until("watching", || statuses.saw("permeated/status", "online"));

    // A mistake is told with its line, and nothing changes.
    site.configure(&format!(
        "{COUNTED}\n[unit.u.supply]\nwaste_ratio = \"so so\"\n"
    ));
    service.signal("-HUP");
    until("the mistake is told", || {
        service.log().contains("read anew, but not taken")
    });
    site.broker.publish("rig/pulses", "5000", &[]);
    until("it goes on as before", || {
        site.value("permeated/u/value/permeate_l") == Some(4.0)
    });
    assert_eq!(manager.count("RELOADING=1"), 0);

    // Right, it is taken: another unit is there, the first one's count goes on where it was.
    let other = COUNTED
        .replace("unit.u", "unit.v")
        .replace("rig/", "other/");
    let before = site.broker.log().len();
    site.configure(&format!("{COUNTED}{other}"));
    service.signal("-HUP");
    site.hears(before);
    until("ready again", || manager.count("READY=1") == 2);
    assert_eq!(manager.count("RELOADING=1"), 1);
    site.broker.publish("rig/pulses", "7000", &[]);
    site.broker.publish("other/pulses", "100", &[]);
    site.broker.publish("other/pulses", "1100", &[]);
    until("both units count", || {
        site.value("permeated/u/value/permeate_l") == Some(6.0)
            && site.value("permeated/v/value/permeate_l") == Some(1.0)
    });

    // The second unit leaves, and so do its topics.
    site.configure(COUNTED);
    service.signal("-HUP");
    until("its topics are gone", || {
        site.broker.retained("permeated/v/totals").is_none()
    });
    assert!(service.is_running());
    assert!(!statuses.saw("permeated/status", "offline"));
    assert!(!service.log().contains("without saying goodbye"));
    service.terminate();
}

/// A port that another program holds shows only when it is opened.
#[test]
fn a_configuration_that_cannot_be_used_gives_way_to_the_old_one() {
    let site = Site::new("", COUNTED);
    let service = site.start();
    let taken = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let port = taken.local_addr().unwrap().port();
    let wrong = format!("[metrics]\nlisten = \"127.0.0.1:{port}\"\n{COUNTED}");
    site.configure(&wrong);
    let before = site.broker.log().len();
    service.signal("-HUP");
    until("it is told", || {
        service.log().contains("going on with the old one")
    });
    site.hears(before);
    site.broker.publish("rig/pulses", "1000", &[]);
    site.broker.publish("rig/pulses", "2000", &[]);
    until("it counts", || {
        site.value("permeated/u/value/permeate_l") == Some(1.0)
    });
    drop(taken);
    fs::remove_file(site.file()).unwrap();
    service.signal("-HUP");
    until("a missing file is told", || {
        service.log().contains("read anew, but not taken")
    });
    service.terminate();
}
