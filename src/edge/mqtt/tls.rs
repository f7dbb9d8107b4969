//! TLS towards the broker: certificates from files or from the system → a client configuration.

use std::{path::Path, sync::Arc};

use rustls::{
    ClientConfig, RootCertStore,
    pki_types::{CertificateDer, PrivateKeyDer, pem, pem::PemObject},
};

use super::MqttError;
use crate::config::Tls;

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
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let builder = ClientConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .map_err(|error| MqttError::Tls(error.to_string()))?
        .with_root_certificates(roots(tls.ca_file.as_deref())?);
    let Some((certificate, key)) = identity else {
        return Ok(builder.with_no_client_auth());
    };
    let chain = certificates("client certificate", certificate)?;
    let private = PrivateKeyDer::from_pem_file(key)
        .map_err(|error| pem_error("client key", key, "private key", error))?;
    builder
        .with_client_auth_cert(chain, private)
        .map_err(|error| MqttError::Content {
            what: "client certificate",
            path: certificate.clone(),
            problem: format!("does not go with the key {}: {error}", key.display()),
        })
}

fn roots(ca_file: Option<&Path>) -> Result<RootCertStore, MqttError> {
    let mut roots = RootCertStore::empty();
    if let Some(path) = ca_file {
        for certificate in certificates("CA file", path)? {
            roots.add(certificate).map_err(|error| MqttError::Content {
                what: "CA file",
                path: path.to_owned(),
                problem: format!("holds a certificate that cannot be used: {error}"),
            })?;
        }
        return Ok(roots);
    }
    let found = rustls_native_certs::load_native_certs();
    let (added, _) = roots.add_parsable_certificates(found.certs);
    if added == 0 {
        let why = (found.errors.first()).map_or("none installed".to_owned(), ToString::to_string);
        return Err(MqttError::NoSystemRoots(why));
    }
    Ok(roots)
}

fn certificates(
    what: &'static str,
    path: &Path,
) -> Result<Vec<CertificateDer<'static>>, MqttError> {
    let chain = CertificateDer::pem_file_iter(path)
        .and_then(Iterator::collect::<Result<Vec<_>, _>>)
        .map_err(|error| pem_error(what, path, "certificate", error))?;
    if chain.is_empty() {
        return Err(pem_error(
            what,
            path,
            "certificate",
            pem::Error::NoItemsFound,
        ));
    }
    Ok(chain)
}

fn pem_error(what: &'static str, path: &Path, wanted: &str, error: pem::Error) -> MqttError {
    let path = path.to_owned();
    match error {
        pem::Error::Io(source) => MqttError::File { what, path, source },
        pem::Error::NoItemsFound => MqttError::Content {
            what,
            path,
            problem: format!("holds no {wanted}: a PEM file with one is needed"),
        },
        other => MqttError::Content {
            what,
            path,
            problem: format!("is not a PEM file with a {wanted}: {other}"),
        },
    }
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
