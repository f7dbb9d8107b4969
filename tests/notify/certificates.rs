//! Encrypted targets: an authority of our own, and certificates that must be refused.

use std::{
    io::{Read as _, Write as _},
    net::TcpListener,
    path::Path,
    sync::Arc,
};

use permeated::edge::notify::{Courier, Outcome};
use rustls::pki_types::{CertificateDer, PrivateKeyDer, pem::PemObject as _};

use crate::{
    authority::{authority, certificate},
    outcome,
    receiver::Receiver,
    target,
};

/// A server that speaks TLS with that certificate and answers 200 to whatever it reads; its port.
fn encrypted(folder: &Path, certificate: &str) -> u16 {
    let chain = CertificateDer::pem_file_iter(folder.join(certificate)).unwrap();
    let key = folder.join(certificate).with_extension("key");
    let key = PrivateKeyDer::from_pem_file(key).unwrap();
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let config = rustls::ServerConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .unwrap()
        .with_no_client_auth()
        .with_single_cert(chain.map(Result::unwrap).collect(), key)
        .unwrap();
    let config = Arc::new(config);
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let port = listener.local_addr().unwrap().port();
    std::thread::spawn(move || {
        for stream in listener.incoming().map_while(Result::ok) {
            let session = rustls::ServerConnection::new(Arc::clone(&config)).unwrap();
            let mut stream = rustls::StreamOwned::new(session, stream);
            // A client that refuses the certificate leaves before it says anything.
            if stream.read(&mut [0; 4096]).is_ok_and(|read| read > 0) {
                let answer = b"HTTP/1.1 200 OK\r\nContent-Length: 0\r\n\r\n";
                stream.write_all(answer).unwrap();
            }
        }
    });
    port
}

#[tokio::test]
async fn certificates_are_checked() {
    let folder = tempfile::tempdir().unwrap();
    authority(folder.path(), "ca");
    certificate(folder.path(), "ca", "good", "localhost", 2);
    certificate(folder.path(), "ca", "expired", "localhost", -1);
    let ca = format!("ca_file = {:?}", folder.path().join("ca.pem"));
    let good = encrypted(folder.path(), "good.pem");
    let url = |host: &str, port: u16| format!("https://{host}:{port}/");
    let taken = outcome(&target(&url("localhost", good), &ca)).await;
    assert_eq!(taken, Outcome::Taken { status: 200 });
    let expired = encrypted(folder.path(), "expired.pem");
    for (what, refused) in [
        ("another host", target(&url("127.0.0.1", good), &ca)),
        ("unknown authority", target(&url("localhost", good), "")),
        ("expired", target(&url("localhost", expired), &ca)),
    ] {
        let outcome = outcome(&refused).await;
        let Outcome::Later { why, .. } = outcome else {
            panic!("{what}: {outcome:?}");
        };
        assert!(why.contains("no encrypted connection"), "{what}: {why}");
    }
    let plain = Receiver::start(&[]);
    let spoken = outcome(&target(
        &url("localhost", plain.port),
        &format!("timeout = \"2 s\"\n{ca}"),
    ))
    .await;
    assert!(matches!(spoken, Outcome::Later { .. }), "{spoken:?}");
    let missing = target("https://localhost/", "ca_file = \"/nowhere/ca.pem\"");
    let why = Courier::new(&missing).err().unwrap().to_string();
    assert!(why.contains("/nowhere/ca.pem"), "{why}");
}
