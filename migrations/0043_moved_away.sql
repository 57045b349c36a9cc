-- Somebody who lives elsewhere now is asked no more, and the record says why.
alter table followup drop constraint followup_outcome_known;
alter table followup add constraint followup_outcome_known
  check (outcome in ('no-answer', 'message-left', 'spoke', 'declined', 'moved-away', 'later', 'booked', 'no-contact-wanted'));
