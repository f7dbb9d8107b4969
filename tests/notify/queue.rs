//! The queue of a target, alone and with the store.

use std::{collections::BTreeMap, time::Duration};

use permeated::{
    core::alert::{NoticeKind, Severity},
    edge::{
        notify::{MOST, Notifier, Pauses},
        store::{Checkpoint, NoticeKey, NoticeRow, Store},
    },
    wire::notice::Notice,
};

use crate::{
    LIMIT, QUICK, at, notice, open,
    receiver::{Receiver, Reply},
    send, settled,
};

#[tokio::test]
async fn only_what_is_wanted_is_sent_and_nothing_twice() {
    let receiver = Receiver::start(&[]);
    let target = at(&receiver, "severities = [\"critical\"]\ncleared = false");
    let mut notifier = open(&target, QUICK);
    let minor = Notice {
        severity: Severity::Warning,
        ..notice(1)
    };
    let over = Notice {
        kind: NoticeKind::Cleared,
        ..notice(2)
    };
    assert!(notifier.queue(&minor).is_empty() && notifier.queue(&over).is_empty());
    assert_eq!(notifier.queue(&notice(3)).len(), 1);
    // It comes again, after a crash of who told it.
    assert!(notifier.queue(&notice(3)).is_empty());
}

#[tokio::test]
async fn a_full_queue_drops_what_is_least_missed() {
    let port = Receiver::start(&[Reply::Stall]);
    let mut notifier = open(&at(&port, "timeout = \"60 s\""), QUICK);
    for number in 1..=MOST as u64 {
        let kind = if number == 40 {
            NoticeKind::Reminder
        } else {
            NoticeKind::Raised
        };
        send(
            &mut notifier,
            &Notice {
                kind,
                ..notice(number)
            },
        );
    }
    // The first is on its way, and may have arrived.
    tokio::time::timeout(LIMIT, async {
        while port.received().is_empty() {
            tokio::time::sleep(Duration::from_millis(5)).await;
        }
    })
    .await
    .unwrap();
    send(&mut notifier, &notice(101));
    assert_eq!(settled(&mut notifier).await.number, 40);
    send(&mut notifier, &notice(102));
    assert_eq!(settled(&mut notifier).await.number, 2);
}

/// The store and the queue together: what waited when the service ended is sent by the next one, once.
#[tokio::test]
async fn a_restart_with_a_full_queue_delivers_each_once() {
    let folder = tempfile::tempdir().unwrap();
    let receiver = Receiver::start(&[Reply::Status(200, ""), Reply::Status(500, "")]);
    let target = at(&receiver, "");
    let pauses = Pauses {
        first: Duration::from_secs(60),
        ..Pauses::default()
    };
    let (store, loaded) = Store::open(folder.path()).unwrap();
    assert!(loaded.notices.is_empty());
    let mut notifier = open(&target, pauses);
    let rows: Vec<NoticeRow> = (1..=20)
        .flat_map(|number| notifier.queue(&notice(number)))
        .collect();
    let queued = Checkpoint {
        notices: rows.clone(),
        ..Checkpoint::default()
    };
    store.save(queued).await.unwrap().unwrap();
    for row in rows {
        notifier.send(row);
    }
    let done = settled(&mut notifier).await;
    let mut all_done = vec![done];
    all_done.extend(notifier.close(Duration::from_secs(1)).await);
    let settled_rows = Checkpoint {
        notices_settled: all_done.clone(),
        ..Checkpoint::default()
    };
    store.save(settled_rows).await.unwrap().unwrap();
    store.close().unwrap();
    assert_eq!(all_done.len(), 1);

    let (_store, loaded) = Store::open(folder.path()).unwrap();
    assert_eq!(loaded.notices.len(), 19);
    let mut again = Notifier::open(
        std::slice::from_ref(&target),
        loaded.notices,
        loaded.notice_marks,
        QUICK,
    )
    .unwrap();
    // The core may tell what it told before: it is known.
    assert!(again.queue(&notice(20)).is_empty());
    for number in 2..=20 {
        assert_eq!(settled(&mut again).await.number, number);
    }
    let mut keys = receiver.keys();
    // The second was tried before the end and refused with 500.
    assert_eq!(keys.remove(1), "kitchen-2");
    let wanted: Vec<String> = (1..=20).map(|number| format!("kitchen-{number}")).collect();
    assert_eq!(keys, wanted);
}

#[tokio::test]
async fn what_waited_for_a_target_that_is_gone_is_done_with() {
    let key = NoticeKey {
        target: "old".to_owned(),
        unit: "kitchen".to_owned(),
        number: 1,
    };
    let row = NoticeRow {
        key: key.clone(),
        document: "{}".to_owned(),
    };
    let mut notifier = Notifier::open(&[], vec![row], BTreeMap::new(), QUICK).unwrap();
    assert_eq!(settled(&mut notifier).await, key);
}
