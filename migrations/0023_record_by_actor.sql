-- Lines of the record by who did it: a patient's are looked up by their links, and a lead looks for one person's.
CREATE INDEX audit_by_actor ON audit (practice_id, actor, sequence);

-- What was sent for a notice is looked up for one patient, whatever else the practice sent.
CREATE INDEX delivery_by_notice ON delivery (practice_id, notice_id);
