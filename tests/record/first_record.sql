BEGIN TRANSACTION;
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "alembic_version" VALUES('0001');
CREATE TABLE bath (
	id INTEGER NOT NULL, 
	name TEXT NOT NULL, 
	opened_utc_ms INTEGER NOT NULL, 
	CONSTRAINT pk_bath PRIMARY KEY (id), 
	CONSTRAINT uq_bath_name UNIQUE (name)
)
 STRICT

;
INSERT INTO "bath" VALUES(1,'bath A',1700000000000);
CREATE TABLE block (
	id INTEGER NOT NULL, 
	samples BLOB NOT NULL, 
	CONSTRAINT pk_block PRIMARY KEY (id)
)
 STRICT

;
INSERT INTO "block" VALUES(1,X'017805017405010000A08D060100016905000080F92B0100017605000090A10F0100017305000080F92B0100017107010000904E0100CB028D23');
INSERT INTO "block" VALUES(2,X'012805017405010080B6DC05A08D060100016905000080F92B0100017605000090A10F0100017305000080F92B01000171070100809F49904E0100E566A2AB');
INSERT INTO "block" VALUES(3,X'017805017405010000A08D0601000169050000C0FC150100017605040000010F0000000000000000000000000000000173050000C0FC150100017107010000882701006C3A5D2E');
CREATE TABLE event (
	id INTEGER NOT NULL, 
	run_id INTEGER, 
	utc_ms INTEGER NOT NULL, 
	monotonic_s REAL NOT NULL, 
	kind TEXT NOT NULL, 
	text TEXT NOT NULL, 
	data TEXT NOT NULL, 
	CONSTRAINT pk_event PRIMARY KEY (id), 
	CONSTRAINT fk_event_run_id FOREIGN KEY(run_id) REFERENCES run (id)
)
 STRICT

;
INSERT INTO "event" VALUES(1,1,1700000050000,150.0,'note','lid opened','{"lid": true}');
CREATE TABLE hour (
	run_id INTEGER NOT NULL, 
	number INTEGER NOT NULL, 
	samples INTEGER NOT NULL, 
	first_s REAL NOT NULL, 
	last_s REAL NOT NULL, 
	current_least REAL, 
	current_mean REAL, 
	current_greatest REAL, 
	current_covered_s REAL, 
	voltage_least REAL, 
	voltage_mean REAL, 
	voltage_greatest REAL, 
	voltage_covered_s REAL, 
	set_current_least REAL, 
	set_current_mean REAL, 
	set_current_greatest REAL, 
	set_current_covered_s REAL, 
	charge_nah INTEGER NOT NULL, 
	CONSTRAINT pk_hour PRIMARY KEY (run_id, number), 
	CONSTRAINT fk_hour_run_id FOREIGN KEY(run_id) REFERENCES run (id)
)
 STRICT

;
INSERT INTO "hour" VALUES(1,0,160,0.0,79.5,3.6,3.60000000000000408562e+00,3.6,79.5,1.25,1.25,1.25,79.5,3.6,3.60000000000000408562e+00,3.6,79.5,79500000);
CREATE TABLE journal (
	id INTEGER NOT NULL, 
	run_id INTEGER NOT NULL, 
	charge_nah INTEGER NOT NULL, 
	samples BLOB NOT NULL, 
	CONSTRAINT pk_journal PRIMARY KEY (id), 
	CONSTRAINT fk_journal_run_id FOREIGN KEY(run_id) REFERENCES run (id)
)
 STRICT

;
INSERT INTO "journal" VALUES(1,2,32250000,X'010A05017405010080B6DC05A08D0601000169050000C0FC150100017605040000010200000173050000C0FC1501000171070100C0CF248827010064C2DEBC');
CREATE TABLE ledger (
	id INTEGER NOT NULL, 
	bath_id INTEGER NOT NULL, 
	run_id INTEGER, 
	utc_ms INTEGER NOT NULL, 
	kind TEXT NOT NULL, 
	charge_nah INTEGER NOT NULL, 
	balance_nah INTEGER NOT NULL, 
	gap_least_nah INTEGER, 
	gap_greatest_nah INTEGER, 
	text TEXT NOT NULL, 
	CONSTRAINT pk_ledger PRIMARY KEY (id), 
	CONSTRAINT fk_ledger_bath_id FOREIGN KEY(bath_id) REFERENCES bath (id), 
	CONSTRAINT fk_ledger_run_id FOREIGN KEY(run_id) REFERENCES run (id)
)
 STRICT

;
INSERT INTO "ledger" VALUES(1,1,NULL,1700000000000,'opened',0,0,NULL,NULL,'bath bath A opened');
INSERT INTO "ledger" VALUES(2,1,1,1795598671079,'charge',59500000,59500000,NULL,NULL,'run 1 to 59.50 s');
INSERT INTO "ledger" VALUES(3,1,1,1700000080000,'charge',20000000,79500000,NULL,NULL,'run 1 to 79.50 s');
INSERT INTO "ledger" VALUES(4,1,1,1700000080000,'run ended',0,79500000,0,1000000,'run 1 complete: target reached');
INSERT INTO "ledger" VALUES(5,1,2,1795598671163,'charge',29750000,109250000,NULL,NULL,'run 2 to 59.50 s');
CREATE TABLE minute (
	run_id INTEGER NOT NULL, 
	number INTEGER NOT NULL, 
	samples INTEGER NOT NULL, 
	first_s REAL NOT NULL, 
	last_s REAL NOT NULL, 
	current_least REAL, 
	current_mean REAL, 
	current_greatest REAL, 
	current_covered_s REAL, 
	voltage_least REAL, 
	voltage_mean REAL, 
	voltage_greatest REAL, 
	voltage_covered_s REAL, 
	set_current_least REAL, 
	set_current_mean REAL, 
	set_current_greatest REAL, 
	set_current_covered_s REAL, 
	charge_nah INTEGER NOT NULL, 
	block_id INTEGER NOT NULL, 
	CONSTRAINT pk_minute PRIMARY KEY (run_id, number), 
	CONSTRAINT fk_minute_run_id FOREIGN KEY(run_id) REFERENCES run (id), 
	CONSTRAINT fk_minute_block_id FOREIGN KEY(block_id) REFERENCES block (id)
)
 STRICT

;
INSERT INTO "minute" VALUES(1,0,120,0.0,59.5,3.6,3.60000000000000630606e+00,3.6,59.5,1.25,1.25,1.25,59.5,3.6,3.60000000000000630606e+00,3.6,59.5,59500000,1);
INSERT INTO "minute" VALUES(1,1,40,60.0,79.5,3.6,3.59999999999999698019e+00,3.6,20.0,1.25,1.25,1.25,20.0,3.6,3.59999999999999698019e+00,3.6,20.0,79500000,2);
INSERT INTO "minute" VALUES(2,0,120,0.0,59.5,1.8,1.80000000000000315303e+00,1.8,59.5,NULL,NULL,NULL,0.0,1.8,1.80000000000000315303e+00,1.8,59.5,29750000,3);
CREATE TABLE run (
	id INTEGER NOT NULL, 
	bath_id INTEGER NOT NULL, 
	title TEXT NOT NULL, 
	"plan" TEXT NOT NULL, 
	metal TEXT NOT NULL, 
	area_dm2 REAL NOT NULL, 
	target_um REAL NOT NULL, 
	who TEXT NOT NULL, 
	started_utc_ms INTEGER NOT NULL, 
	started_monotonic_s REAL NOT NULL, 
	boot_id TEXT NOT NULL, 
	clock_synchronised INTEGER, 
	state TEXT NOT NULL, 
	reason TEXT, 
	ended_utc_ms INTEGER, 
	elapsed_s REAL, 
	running_s REAL, 
	charge_nah INTEGER, 
	gap_least_nah INTEGER, 
	gap_greatest_nah INTEGER, 
	mass_g REAL, 
	thickness_um REAL, 
	CONSTRAINT pk_run PRIMARY KEY (id), 
	CONSTRAINT fk_run_bath_id FOREIGN KEY(bath_id) REFERENCES bath (id)
)
 STRICT

;
INSERT INTO "run" VALUES(1,1,'four knobs','title = ''four knobs''','Cu(II)',1.2,25.0,'operator',1700000000000,100.0,'boot',NULL,'complete','target reached',1700000080000,80.0,79.5,79500000,0,1000000,0.0943,0.877);
INSERT INTO "run" VALUES(2,1,'lamp','title = ''lamp''','Cu(II)',1.2,25.0,'operator',1700000100000,200.0,'boot',1,'running',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL);
CREATE TABLE stage (
	run_id INTEGER NOT NULL, 
	number INTEGER NOT NULL, 
	name TEXT NOT NULL, 
	started_s REAL NOT NULL, 
	ended_s REAL NOT NULL, 
	charge_nah INTEGER NOT NULL, 
	ended_by TEXT NOT NULL, 
	CONSTRAINT pk_stage PRIMARY KEY (run_id, number), 
	CONSTRAINT fk_stage_run_id FOREIGN KEY(run_id) REFERENCES run (id)
)
 STRICT

;
INSERT INTO "stage" VALUES(1,0,'build',0.0,79.5,79500000,'target');
CREATE TABLE ten_minutes (
	run_id INTEGER NOT NULL, 
	number INTEGER NOT NULL, 
	samples INTEGER NOT NULL, 
	first_s REAL NOT NULL, 
	last_s REAL NOT NULL, 
	current_least REAL, 
	current_mean REAL, 
	current_greatest REAL, 
	current_covered_s REAL, 
	voltage_least REAL, 
	voltage_mean REAL, 
	voltage_greatest REAL, 
	voltage_covered_s REAL, 
	set_current_least REAL, 
	set_current_mean REAL, 
	set_current_greatest REAL, 
	set_current_covered_s REAL, 
	charge_nah INTEGER NOT NULL, 
	CONSTRAINT pk_ten_minutes PRIMARY KEY (run_id, number), 
	CONSTRAINT fk_ten_minutes_run_id FOREIGN KEY(run_id) REFERENCES run (id)
)
 STRICT

;
INSERT INTO "ten_minutes" VALUES(1,0,160,0.0,79.5,3.6,3.60000000000000408562e+00,3.6,79.5,1.25,1.25,1.25,79.5,3.6,3.60000000000000408562e+00,3.6,79.5,79500000);
CREATE INDEX ix_ledger_bath_id ON ledger (bath_id);
CREATE INDEX ix_ledger_run_id ON ledger (run_id);
CREATE TRIGGER ledger_no_update BEFORE UPDATE ON ledger
BEGIN SELECT RAISE(ABORT, 'the ledger is only added to: nothing in it is edited'); END;
CREATE TRIGGER ledger_no_delete BEFORE DELETE ON ledger
BEGIN SELECT RAISE(ABORT, 'the ledger is only added to: nothing in it is deleted'); END;
CREATE TRIGGER ledger_balanced BEFORE INSERT ON ledger
WHEN NEW.balance_nah <> NEW.charge_nah + coalesce(
    (SELECT balance_nah FROM ledger WHERE bath_id = NEW.bath_id ORDER BY id DESC LIMIT 1), 0)
BEGIN SELECT RAISE(ABORT, 'the ledger does not balance'); END;
CREATE TRIGGER ledger_no_replace BEFORE INSERT ON ledger
WHEN EXISTS (SELECT 1 FROM ledger WHERE id = NEW.id)
BEGIN SELECT RAISE(ABORT, 'the ledger is only added to: nothing in it is replaced'); END;
CREATE INDEX ix_event_run_id ON event (run_id);
COMMIT;
