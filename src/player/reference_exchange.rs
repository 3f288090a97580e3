//! Lock-free exchange of references with the thread that runs a chain: sounds go there, what they replace
//! comes back to be freed. Neither side waits, and the chain's side allocates and frees nothing.

use crate::chain::{Chain, ReferenceSound};

/// A sound to be heard, or none.
type Sound = Option<Box<ReferenceSound>>;

/// Both ends.
pub fn reference_exchange() -> (ReferenceSender, ReferenceReceiver) {
    let (outgoing, incoming) = rtrb::RingBuffer::new(1);
    // One replaced sound, one that came too late for its rate, one more of an earlier exchange.
    let (back, replaced) = rtrb::RingBuffer::new(3);
    (
        ReferenceSender { outgoing, replaced, waiting: None, lent: 0, is_last_a_sound: false },
        ReferenceReceiver { incoming, back },
    )
}

/// The loader's end.
pub struct ReferenceSender {
    outgoing: rtrb::Producer<Sound>,
    replaced: rtrb::Consumer<Box<ReferenceSound>>,
    /// What is sent as soon as there is room.
    waiting: Option<Sound>,
    /// Sounds sent that have not come back.
    lent: usize,
    /// The last thing sent was a sound.
    is_last_a_sound: bool,
}

impl ReferenceSender {
    /// Sends a sound, or none to remove the present one. What was still waiting to be sent is dropped.
    pub fn send(&mut self, sound: Sound) {
        self.waiting = Some(sound);
        self.tend();
    }

    /// Frees what has come back and sends what waits.
    pub fn tend(&mut self) {
        while self.replaced.pop().is_ok() {
            self.lent = self.lent.saturating_sub(1);
        }
        if self.outgoing.slots() > 0
            && let Some(sound) = self.waiting.take()
        {
            let is_sound = sound.is_some();
            if self.outgoing.push(sound).is_ok() {
                self.lent += usize::from(is_sound);
                self.is_last_a_sound = is_sound;
            }
        }
    }

    /// The chain was replaced: its sound was freed with it.
    pub fn forget_lent(&mut self) {
        self.tend();
        self.lent = usize::from(self.outgoing.slots() == 0 && self.is_last_a_sound);
    }

    /// Everything was taken, and everything that was replaced has come back.
    pub fn is_settled(&self) -> bool {
        self.waiting.is_none() && self.outgoing.slots() > 0 && self.lent <= usize::from(self.is_last_a_sound)
    }
}

/// The chain's end.
pub struct ReferenceReceiver {
    incoming: rtrb::Consumer<Sound>,
    back: rtrb::Producer<Box<ReferenceSound>>,
}

impl ReferenceReceiver {
    /// Hands over what has arrived and gives back what was replaced; for every block. Wait-free; allocates and
    /// frees nothing.
    pub fn exchange(&mut self, chain: &mut Chain) {
        if self.back.slots() > 0
            && let Some(replaced) = chain.take_replaced_reference()
        {
            let _ = self.back.push(replaced);
        }
        if self.back.slots() > 0
            && chain.takes_a_reference()
            && let Ok(sound) = self.incoming.pop()
            && let Err(Some(unfit)) = chain.offer_reference(sound)
        {
            // Made for the sample rate of an earlier chain.
            let _ = self.back.push(unfit);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_sound_comes_back_and_one_of_another_rate_at_once() {
        let (mut sender, mut receiver) = reference_exchange();
        let mut chain = Chain::new(48_000.0);
        let sound =
            |rate| Some(Box::new(ReferenceSound::new([vec![0.1; 100], vec![0.1; 100]], rate, -20.0, 0)));
        let mut block = |receiver: &mut ReferenceReceiver| {
            receiver.exchange(&mut chain);
            chain.process(&mut [&mut [0.0; 64]], |_| ());
        };
        for n in 0..100 {
            sender.send(match n % 4 {
                3 => None,
                2 => sound(44_100),
                _ => sound(48_000),
            });
            assert!(!sender.is_settled(), "nothing has been taken yet");
            for _ in 0..4 {
                block(&mut receiver);
                sender.tend();
            }
            // One of the wrong rate is back although it was the last; it replaced nothing.
            let held = [1, 1, 1, 0][n % 4];
            assert_eq!((sender.lent, sender.is_settled()), (held, true), "exchange {n}");
        }
        // A chain that is dropped takes its sound with it.
        sender.send(sound(48_000));
        block(&mut receiver);
        sender.forget_lent();
        assert_eq!((sender.lent, sender.is_settled()), (0, true));
    }
}
