CREATE TABLE events (
	number INTEGER NOT NULL, 
	act TEXT NOT NULL, 
	who TEXT NOT NULL, 
	when_utc TEXT NOT NULL, 
	version TEXT NOT NULL, 
	body TEXT NOT NULL, 
	previous TEXT NOT NULL, 
	digest TEXT NOT NULL, 
	PRIMARY KEY (number)
)
 STRICT

;
CREATE TRIGGER events_stay_unchanged BEFORE UPDATE ON events
    BEGIN SELECT RAISE(ABORT, 'the record is append-only: no event may be changed'); END;
CREATE TRIGGER events_stay BEFORE DELETE ON events
    BEGIN SELECT RAISE(ABORT, 'the record is append-only: no event may be removed'); END;
CREATE TRIGGER events_follow BEFORE INSERT ON events
    WHEN EXISTS (SELECT 1 FROM events) AND NOT EXISTS (
        SELECT 1 FROM events WHERE number = (SELECT max(number) FROM events)
        AND number + 1 = NEW.number AND digest = NEW.previous)
    BEGIN SELECT RAISE(ABORT, 'the record is append-only: an event must follow the last'); END;
