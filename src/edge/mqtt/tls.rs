//! TLS towards the broker: whom we trust, and who we are → a client configuration.

use rustls::{
    ClientConfig,
    pki_types::{PrivateKeyDer, pem::PemObject},
};

use super::MqttError;
use crate::{config::Tls, edge::trust};

/// The configuration of a TLS client.
///
/// # Errors
/// A file that is missing or does not hold what it should; the text names it.
pub(super) fn client(tls: &Tls) -> Result<ClientConfig, MqttError> {
    let identity = match (&tls.client_certificate, &tls.client_key) {
        (None, None) => None,
        (Some(certificate), Some(key)) => Some((certificate, key)),
        (Some(_), None) | (None, Some(_)) => return Err(MqttError::HalfClientCertificate),
    };
    let builder = trust::client(tls.ca_file.as_deref())?;
    let Some((certificate, key)) = identity else {
        return Ok(builder.with_no_client_auth());
    };
    let chain = trust::certificates("client certificate", certificate)?;
    let private = PrivateKeyDer::from_pem_file(key)
        .map_err(|error| trust::pem_error("client key", key, "private key", error))?;
    builder
        .with_client_auth_cert(chain, private)
        .map_err(|error| MqttError::Content {
            what: "client certificate",
            path: certificate.clone(),
            problem: format!("does not go with the key {}: {error}", key.display()),
        })
}

#[cfg(test)]
mod tests {
    use std::path::PathBuf;

    use super::*;

    #[test]
    fn errors_name_the_file_and_what_it_should_hold() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("ca.pem");
        let tls = Tls {
            ca_file: Some(path.clone()),
            ..Tls::default()
        };
        let missing = client(&tls).unwrap_err().to_string();
        assert!(
            missing.contains("cannot read the CA file") && missing.contains("ca.pem"),
            "{missing}"
        );
        std::fs::write(&path, "not a certificate\n").unwrap();
        let empty = client(&tls).unwrap_err().to_string();
        assert!(
            empty.contains("ca.pem") && empty.contains("holds no certificate"),
            "{empty}"
        );
    }

    #[test]
    fn half_a_client_certificate_is_refused() {
        let tls = Tls {
            client_key: Some(PathBuf::from("key.pem")),
            ..Tls::default()
        };
        assert!(matches!(
            client(&tls),
            Err(MqttError::HalfClientCertificate)
        ));
    }
}
