//! What lies in `deploy/`: the rules its files must keep (safety promises X6, X7 and C4). `tests/outside/deploy` tries what can be tried.

use std::fs;
use std::path::Path;

fn file(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("deploy").join(name);
    fs::read_to_string(&path).unwrap_or_else(|fault| panic!("{}: {fault}", path.display()))
}

/// The instructions of a container file, with their words; comments are gone and continued lines joined.
fn instructions(text: &str) -> Vec<(String, String)> {
    let lines: Vec<&str> = text.lines().filter(|line| !line.trim_start().starts_with('#')).collect();
    let joined = lines.join("\n").replace("\\\n", " ");
    let told = joined.lines().filter_map(|line| line.trim().split_once(' '));
    told.map(|(word, rest)| (word.to_uppercase(), rest.trim().to_owned())).collect()
}

/// What breaks the rules, in words.
fn container_faults(text: &str) -> Vec<String> {
    let all = instructions(text);
    let mut faults = Vec::new();
    let of = |word: &str| {
        all.iter().filter(|(told, _)| told == word).map(|(_, rest)| rest.as_str()).collect::<Vec<_>>()
    };
    for base in of("FROM") {
        let image = base.split(' ').next().unwrap_or_default();
        let tag = image.rsplit_once(':').map_or("", |(_, tag)| tag);
        let exact = tag
            .split('-')
            .next()
            .unwrap_or_default()
            .split('.')
            .filter(|part| part.parse::<u32>().is_ok())
            .count();
        if image != "scratch" && exact != 3 && !image.contains("@sha256:") {
            faults.push(format!("a base that moves: {image}"));
        }
    }
    if !of("ADD").is_empty()
        || all.iter().any(|(word, rest)| word == "RUN" && (rest.contains("curl ") || rest.contains("wget ")))
    {
        faults.push("something is taken from an address".to_owned());
    }
    let last = all.iter().rposition(|(word, _)| word == "FROM").unwrap_or(0);
    let end = &all[last..];
    let in_end = |word: &str| end.iter().find(|(told, _)| told == word).map(|(_, rest)| rest.as_str());
    if end.first().is_none_or(|(_, base)| base != "scratch") {
        faults.push("the last stage stands on something".to_owned());
    }
    if end.iter().any(|(word, _)| word == "RUN") {
        faults.push("the last stage runs something: it has a shell".to_owned());
    }
    let numeric = |user: &str| user.split(':').all(|part| part.parse::<u32>().is_ok_and(|id| id >= 1_000));
    if !in_end("USER").is_some_and(numeric) {
        faults.push("the user is no number, or is root".to_owned());
    }
    for (word, begins) in [("HEALTHCHECK", "CMD ["), ("ENTRYPOINT", "[")] {
        if !in_end(word).is_some_and(|rest| rest.contains(begins)) {
            faults.push(format!("{word} is missing, or asks a shell"));
        }
    }
    if end.iter().filter(|(word, _)| word == "VOLUME").count() != 1 {
        faults.push("it has not just one volume".to_owned());
    }
    let secret =
        |rest: &str| ["SECRET=", "PASSWORD=", "TOKEN="].iter().any(|word| rest.to_uppercase().contains(word));
    if all.iter().any(|(word, rest)| matches!(word.as_str(), "ENV" | "ARG") && secret(rest)) {
        faults.push("a secret lies in the image".to_owned());
    }
    faults
}

#[test]
fn the_image_stands_on_nothing_runs_as_a_number_and_asks_after_itself() {
    let text = file("Containerfile");
    assert_eq!(container_faults(&text), Vec::<String>::new());
    // Each rule bites.
    for (from, to, fault) in [
        ("rust:1.95.0-slim-bookworm", "rust:slim", "a base that moves"),
        ("COPY src src", "ADD https://elsewhere.example/src src", "taken from an address"),
        ("FROM scratch", "FROM docker.io/library/debian:12.1.0", "stands on something"),
        ("USER 65532:65532", "USER root", "no number"),
        ("USER 65532:65532", "USER 0:0", "no number"),
        ("USER 65532:65532", "USER 65532:65532\nRUN true", "has a shell"),
        ("CMD [\"/usr/local/bin/closewatch\", \"healthy\"]", "CMD closewatch healthy", "HEALTHCHECK"),
        ("VOLUME [\"/var/lib/closewatch\"]", "", "one volume"),
        ("EXPOSE 8443", "ENV SMTP_PASSWORD=x", "a secret"),
    ] {
        assert!(text.contains(from), "{from}");
        let broken = container_faults(&text.replacen(from, to, 1));
        assert!(broken.iter().any(|said| said.contains(fault)), "{to}: {broken:?}");
    }
}

/// The values of a unit's key, in order.
fn values<'a>(unit: &'a str, key: &str) -> Vec<&'a str> {
    unit.lines().filter_map(|line| line.strip_prefix(key)?.strip_prefix('=')).collect()
}

#[test]
fn the_units_hand_every_secret_over_as_a_credential() {
    for (name, secrets) in [
        ("closewatch.service", &["sealing-keys", "record-key.pem"][..]),
        ("closewatch-backup.service", &["sealing-keys", "record-key.pem", "backup-recipient"]),
    ] {
        let unit = file(name);
        for secret in secrets {
            let loaded = format!("{secret}:/etc/closewatch/{secret}");
            assert!(values(&unit, "LoadCredential").contains(&loaded.as_str()), "{name}: {secret}");
            let named = values(&unit, "Environment")
                .into_iter()
                .any(|value| value.ends_with(&format!("=%d/{secret}")));
            assert!(named, "{name}: {secret} is loaded, and nothing reads it");
        }
        for variable in values(&unit, "Environment") {
            let (key, value) = variable.split_once('=').unwrap();
            let is_secret = ["KEY", "SECRET", "PASSWORD"].iter().any(|word| key.contains(word));
            assert!(!is_secret || value.starts_with("%d/"), "{name}: {variable}");
        }
        assert_eq!(values(&unit, "DynamicUser"), ["yes"]);
        assert_eq!(values(&unit, "User"), ["closewatch"], "both units have one account");
        assert_eq!(values(&unit, "LimitCORE"), ["0"]);
    }
    let unit = file("closewatch.service");
    assert_eq!(values(&unit, "WatchdogSec"), ["60"]);
    assert_eq!(values(&unit, "KillMode"), ["mixed"], "a stop must not end the photos that are being read");
    assert!(values(&unit, "SystemCallFilter")[0].contains(" seccomp"), "no photo could be read apart");
    assert!(values(&file("closewatch-backup.timer"), "OnCalendar").contains(&"*:0/15"));
}

#[test]
fn the_proxy_writes_no_link_into_its_log_and_believes_nobody_s_header() {
    let proxy = file("proxy.conf.example");
    let code: Vec<&str> = proxy.lines().map(|line| line.split('#').next().unwrap().trim()).collect();
    let format =
        code.iter().skip_while(|line| !line.starts_with("log_format")).take_while(|line| !line.is_empty());
    let format: Vec<&&str> = format.collect();
    assert!(!format.is_empty());
    for holds_a_path in [
        "$request ",
        "$request\"",
        "$request'",
        "$request_uri",
        "$uri",
        "$args",
        "$http_referer",
        "$document_uri",
    ] {
        assert!(!format.iter().any(|line| line.contains(holds_a_path)), "{holds_a_path} stands in the log");
    }
    for needed in [
        "access_log /var/log/nginx/closewatch.log without_paths;",
        "error_log /var/log/nginx/closewatch-error.log crit;",
        "proxy_set_header X-Forwarded-For $remote_addr;",
        "proxy_set_header X-Forwarded-Proto $scheme;",
        "proxy_set_header Host $host;",
        "ssl_protocols TLSv1.2 TLSv1.3;",
        "proxy_buffering off;",
        "proxy_request_buffering off;",
    ] {
        assert!(code.contains(&needed), "{needed}");
    }
}
