//! Shuts this process in for good, before it reads what a stranger sent: no file, no network, no other program, so much memory and so
//! much work. What is already open beyond the three standard pipes cannot be used either.

/// Everything that is mapped, the program too, bytes. What the largest photos that are taken need of it is printed by
/// `tests/decoder.rs`.
pub const MEMORY_BYTES: u64 = 512 << 20;
/// Seconds of a core. Twelve megapixels take 0.3.
pub const WORK_S: u64 = 8;

/// No more than that from here on. An error says what this machine does not do; then nothing is to be read.
#[cfg(target_os = "linux")]
pub fn shut_in() -> Result<(), String> {
    linux::limit()?;
    linux::end_with_the_server()?;
    linux::hide()?;
    linux::leave_few_calls()
}

#[cfg(not(target_os = "linux"))]
pub fn shut_in() -> Result<(), String> {
    Err("only Linux can".to_owned())
}

/// Whether this process may hand on as much memory as reading a photo may take. With less, large photos alone would be damaged, and
/// nobody would be told why.
#[cfg(target_os = "linux")]
pub fn has_memory() -> Result<(), String> {
    linux::has_memory()
}

#[cfg(not(target_os = "linux"))]
pub fn has_memory() -> Result<(), String> {
    Ok(())
}

#[cfg(target_os = "linux")]
mod linux {
    use std::collections::BTreeMap;

    use rustix::process::DumpableBehavior;
    use rustix::process::Resource;
    use rustix::process::Rlimit;
    use rustix::process::Signal;
    use rustix::process::getrlimit;
    use rustix::process::set_dumpable_behavior;
    use rustix::process::set_parent_process_death_signal;
    use rustix::process::setrlimit;
    use seccompiler::BackendError;
    use seccompiler::BpfProgram;
    use seccompiler::SeccompAction;
    use seccompiler::SeccompCmpArgLen;
    use seccompiler::SeccompCmpOp;
    use seccompiler::SeccompCondition;
    use seccompiler::SeccompFilter;
    use seccompiler::SeccompRule;
    use seccompiler::apply_filter;

    use crate::cli::shut_in::MEMORY_BYTES;
    use crate::cli::shut_in::WORK_S;

    pub fn has_memory() -> Result<(), String> {
        let Some(given) = getrlimit(Resource::As).maximum.filter(|given| *given < MEMORY_BYTES) else {
            return Ok(());
        };
        let (given_mib, wanted_mib) = (given >> 20, MEMORY_BYTES >> 20);
        Err(format!(
            "the limit of addresses is {given_mib} MiB (`ulimit -Hv`, or LimitAS in a unit), and reading a photo may take {wanted_mib}"
        ))
    }

    /// Never more than it was given. No file but the three pipes, none longer than it is, no other process, no picture of a patient
    /// in a dump.
    pub fn limit() -> Result<(), String> {
        // One second more than the warning, which ends the process already.
        let work = (WORK_S, WORK_S + 1);
        for (what, (soft, hard)) in [
            (Resource::As, (MEMORY_BYTES, MEMORY_BYTES)),
            (Resource::Cpu, work),
            (Resource::Nofile, (3, 3)),
            (Resource::Fsize, (0, 0)),
            (Resource::Core, (0, 0)),
            (Resource::Nproc, (0, 0)),
        ] {
            let given = getrlimit(what).maximum.unwrap_or(u64::MAX);
            let new = Rlimit { current: Some(soft.min(given)), maximum: Some(hard.min(given)) };
            setrlimit(what, new).map_err(|fault| format!("the limit {what:?} is not taken: {fault}"))?;
        }
        Ok(())
    }

    /// However it ends: one that does not even listen would outlive a server that was killed. The signal comes when the thread ends that
    /// started this process, which for a server is one of those that live as long as it does (`clippy.toml` forbids what would end
    /// one). A server that is already gone needs no signal: nobody gives a file then.
    pub fn end_with_the_server() -> Result<(), String> {
        set_parent_process_death_signal(Some(Signal::KILL))
            .map_err(|fault| format!("it would outlive the server: {fault}"))
    }

    /// From other processes of the same account, and from programs that collect dumps whatever the limit says.
    pub fn hide() -> Result<(), String> {
        set_dumpable_behavior(DumpableBehavior::NotDumpable)
            .map_err(|fault| format!("it cannot be hidden: {fault}"))
    }

    /// The kernel ends the process at the first call that is not on the list. Privileges cannot be gained any more either.
    pub fn leave_few_calls() -> Result<(), String> {
        let filter = filter().map_err(|fault| format!("no list of calls: {fault}"))?;
        apply_filter(&filter).map_err(|fault| format!("the kernel takes no list of calls: {fault}"))
    }

    fn filter() -> Result<BpfProgram, BackendError> {
        let filter = SeccompFilter::new(
            calls()?,
            SeccompAction::KillProcess,
            SeccompAction::Allow,
            std::env::consts::ARCH.try_into()?,
        )?;
        filter.try_into()
    }

    const STDIN: u64 = 0;
    const STDOUT: u64 = 1;
    const STDERR: u64 = 2;

    /// What reading a file takes: its bytes in, an answer out, memory, an end. No call on this list names a file, an address or
    /// another process.
    fn calls() -> Result<BTreeMap<i64, Vec<SeccompRule>>, BackendError> {
        let itself = u64::from(std::process::id());
        let code = || lacks(2, libc::PROT_EXEC);
        let of = |signal: i32| rule(vec![is(0, u64::from(signal.unsigned_abs()))?]);
        let some = [
            (libc::SYS_read, vec![rule(vec![is(0, STDIN)?])?]),
            (libc::SYS_write, vec![rule(vec![is(0, STDOUT)?])?, rule(vec![is(0, STDERR)?])?]),
            (libc::SYS_mmap, vec![rule(vec![code()?, has(3, libc::MAP_ANONYMOUS)?])?]),
            (libc::SYS_mprotect, vec![rule(vec![code()?])?]),
            // How a process ends itself when memory runs out, with one C library and the other. It has one thread, which has its number.
            (libc::SYS_tgkill, vec![rule(vec![is(0, itself)?])?]),
            (libc::SYS_tkill, vec![rule(vec![is(0, itself)?])?]),
            // At a wrong address Rust's own handler takes itself away, so that the next try ends the process.
            (libc::SYS_rt_sigaction, vec![of(libc::SIGSEGV)?, of(libc::SIGBUS)?]),
        ];
        let whole = [
            libc::SYS_brk,
            libc::SYS_clock_gettime,
            libc::SYS_exit,
            libc::SYS_exit_group,
            libc::SYS_futex,
            libc::SYS_getpid,
            libc::SYS_getrandom,
            libc::SYS_gettid,
            libc::SYS_madvise,
            libc::SYS_mremap,
            libc::SYS_munmap,
            libc::SYS_restart_syscall,
            libc::SYS_rt_sigprocmask,
            libc::SYS_rt_sigreturn,
            libc::SYS_sched_yield,
            libc::SYS_sigaltstack,
        ];
        let whole = whole.map(|call| (call, Vec::new()));
        Ok(some.into_iter().chain(whole).collect())
    }

    fn rule(all: Vec<SeccompCondition>) -> Result<SeccompRule, BackendError> {
        SeccompRule::new(all)
    }

    /// The lower half of an argument: all of these are numbers of 32 bits.
    fn condition(at: u8, test: SeccompCmpOp, value: u64) -> Result<SeccompCondition, BackendError> {
        SeccompCondition::new(at, SeccompCmpArgLen::Dword, test, value)
    }

    fn is(at: u8, value: u64) -> Result<SeccompCondition, BackendError> {
        condition(at, SeccompCmpOp::Eq, value)
    }

    fn has(at: u8, flag: i32) -> Result<SeccompCondition, BackendError> {
        let flag = u64::from(flag.unsigned_abs());
        condition(at, SeccompCmpOp::MaskedEq(flag), flag)
    }

    fn lacks(at: u8, flag: i32) -> Result<SeccompCondition, BackendError> {
        condition(at, SeccompCmpOp::MaskedEq(u64::from(flag.unsigned_abs())), 0)
    }
}
