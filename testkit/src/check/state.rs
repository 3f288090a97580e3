//! What must hold for any bytes as a saved state, through the CLAP interface.

use crate::host::raw::Rig;

/// A saved state, without the length that stands before it. True when it was taken by the
/// instance, which keeps it.
pub fn state(rig: &Rig, bytes: &[u8]) -> bool {
    let before = rig.save(usize::MAX).expect("a state");
    let whole = [&(bytes.len() as u64).to_le_bytes()[..], bytes].concat();
    let taken = rig.load(&whole, 1 + bytes.len() % 512);
    rig.serve();
    let after = rig.save(usize::MAX).expect("a state");
    if !taken {
        assert!(before == after, "refused, and yet something changed");
        return false;
    }
    for param in &rig.params {
        let value = rig.value(param.id);
        assert!((param.min..=param.max).contains(&value), "{}: {value}", param.name);
        let text = rig.text(param.id, value);
        assert!(rig.read(param.id, &text).is_some(), "{}: {text}", param.name);
    }
    assert!(rig.load(&after, usize::MAX), "its own state is refused");
    assert!(rig.save(usize::MAX).expect("a state") == after, "it does not read back");
    true
}
