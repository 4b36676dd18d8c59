//! Whether a letter could leave the house now: every way out is tried as far as it goes without sending anything.

use std::time::Duration;

use crate::notify::folder::Folder;
use crate::notify::hook::Hook;
use crate::notify::post::Post;

/// How long one way may take to answer. Shorter than a letter's: nothing is at stake but the answer.
const PATIENCE: Duration = Duration::from_secs(8);

impl Post {
    /// Tries every way that is set up. What does not answer is said without any address.
    pub async fn probe(&self) -> Result<(), String> {
        match tokio::time::timeout(PATIENCE, self.probe_all()).await {
            Ok(answer) => answer,
            Err(_) => Err("no answer in time".to_owned()),
        }
    }

    async fn probe_all(&self) -> Result<(), String> {
        if let Some(folder) = self.folder() {
            return folder.probe().await;
        }
        for hook in self.hooks() {
            hook.probe().await?;
        }
        match self.mail() {
            Some(mail) => mail.probe().await,
            None => Ok(()),
        }
    }
}

impl Folder {
    async fn probe(&self) -> Result<(), String> {
        let file = self.path().join(".probe");
        let written = match tokio::fs::write(&file, "probe").await {
            Ok(()) => tokio::fs::remove_file(&file).await,
            Err(fault) => Err(fault),
        };
        written.map_err(|fault| format!("the folder for letters: {fault}"))
    }
}

impl Hook {
    /// Any answer of the host but a failure of its own will do: nothing is asked of the lines behind it.
    async fn probe(&self) -> Result<(), String> {
        let asked = self.client.head(self.url.clone()).send().await;
        let status = asked.map_err(|_| "the address for texts or calls does not answer".to_owned())?.status();
        // 501: it answers, and knows no HEAD.
        if status.is_server_error() && status.as_u16() != 501 {
            return Err(format!("the address for texts or calls answered {}", status.as_u16()));
        }
        Ok(())
    }
}
