//! Once a day the head of each practice's record is signed and written to a folder, from where it goes to another machine.

use std::fs;
use std::io;
use std::path::Path;
use std::path::PathBuf;
use std::time::Duration;

use crate::care::Desk;
use crate::care::record_head;
use crate::care::record_head::RecordKey;
use crate::ids::Chance;
use crate::ids::Moment;
use crate::store::key_file::write_new;

/// How often it is seen whether today's is there.
const EVERY: Duration = Duration::from_secs(15 * 60);

/// Where the key and the heads are.
#[derive(Clone, Debug)]
pub struct RecordFiles {
    /// Private key in PEM; made at the first start when it is missing.
    pub key: PathBuf,
    pub heads: PathBuf,
}

impl RecordFiles {
    /// Beside the private key: the one that is given to whoever verifies.
    pub fn public_key(&self) -> PathBuf {
        self.key.with_extension("pub.pem")
    }

    /// Reads the key, or makes it. True: it was made just now.
    pub fn open_key(&self, chance: &Chance) -> Result<(RecordKey, bool), String> {
        let told = |path: &Path, why: &dyn std::fmt::Display| format!("{}: {why}", path.display());
        let (key, is_new) = match fs::read_to_string(&self.key) {
            Ok(pem) => (RecordKey::from_pem(&pem).map_err(|why| told(&self.key, &why))?, false),
            Err(fault) if fault.kind() == io::ErrorKind::NotFound => {
                let key = RecordKey::make(chance);
                write_new(&self.key, &key.to_pem()?, 0o600).map_err(|fault| told(&self.key, &fault))?;
                (key, true)
            }
            Err(fault) => return Err(told(&self.key, &fault)),
        };
        let public = self.public_key();
        if !public.exists() {
            match write_new(&public, &key.public().to_pem()?, 0o644) {
                // A key given as a credential lies where nothing can be written: the public half is then with its owner.
                Ok(()) => {}
                Err(fault) => tracing::warn!(%fault, "the public key of the record could not be written"),
            }
        }
        Ok((key, is_new))
    }

    /// Signs and writes today's head of each practice, where it is not there yet. How many were written.
    pub async fn write_heads(&self, desk: &Desk, key: &RecordKey, moment: &Moment) -> Result<usize, String> {
        fs::create_dir_all(&self.heads).map_err(|fault| format!("{}: {fault}", self.heads.display()))?;
        let mut written = 0;
        let signed = record_head::sign_all(desk, key, moment.now).await.map_err(|fault| fault.to_string())?;
        for (day, head) in signed {
            let path = self.heads.join(format!("{}-{day}.json", head.practice));
            if path.exists() {
                continue;
            }
            let text = serde_json::to_string_pretty(&head).map_err(|fault| fault.to_string())?;
            write_new(&path, &text, 0o644).map_err(|fault| format!("{}: {fault}", path.display()))?;
            written += 1;
        }
        Ok(written)
    }
}

/// Sees to it for ever. `speed`: how much faster `now` goes than the machine's clock.
pub async fn run(
    desk: Desk,
    files: RecordFiles,
    key: RecordKey,
    now: impl Fn() -> Moment + Sync,
    speed: f64,
) {
    loop {
        match files.write_heads(&desk, &key, &now()).await {
            Ok(0) => {}
            Ok(written) => tracing::info!(written, "heads of the record were signed"),
            Err(why) => tracing::error!(why, "no head of the record could be written"),
        }
        tokio::time::sleep(EVERY.div_f64(speed)).await;
    }
}
