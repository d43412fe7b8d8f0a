-- A store as the first released windwatch (store version 0001) left it, with one of each thing.
-- Frozen: it is never changed, and every later version must be able to go on from it.
BEGIN TRANSACTION;
CREATE TABLE acknowledgements (
	number INTEGER NOT NULL, 
	episode VARCHAR(64) NOT NULL, 
	"by" TEXT NOT NULL, 
	at BIGINT NOT NULL, 
	note TEXT NOT NULL, 
	CONSTRAINT pk_acknowledgements PRIMARY KEY (number), 
	CONSTRAINT uq_acknowledgements_episode_by_at UNIQUE (episode, "by", at)
);
INSERT INTO "acknowledgements" VALUES(1,'episode-1','operations desk',1790104140000,'seen');
CREATE TABLE airfield_states (
	airfield VARCHAR(64) NOT NULL, 
	state TEXT NOT NULL, 
	updated_at BIGINT NOT NULL, 
	CONSTRAINT pk_airfield_states PRIMARY KEY (airfield)
);
INSERT INTO "airfield_states" VALUES('XLKS','{"airfield":"XLKS"}',1790104140000);
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "alembic_version" VALUES('0001');
CREATE TABLE attempts (
	delivery VARCHAR(64) NOT NULL, 
	number INTEGER NOT NULL, 
	started_at BIGINT NOT NULL, 
	ended_at BIGINT, 
	outcome VARCHAR(16) NOT NULL, 
	answer TEXT NOT NULL, 
	CONSTRAINT pk_attempts PRIMARY KEY (delivery, number), 
	CONSTRAINT fk_attempts_delivery FOREIGN KEY(delivery) REFERENCES deliveries (id)
);
INSERT INTO "attempts" VALUES('547f8a889b3fad658906c76f',1,1790104140000,1790104140000,'accepted','250 taken');
INSERT INTO "attempts" VALUES('ab728a5411919f0a704ff68e',1,1790104140000,1790104140000,'failed','503 later');
CREATE TABLE channels_off (
	contact TEXT NOT NULL, 
	channel VARCHAR(64) NOT NULL, 
	address VARCHAR(64) NOT NULL, 
	at BIGINT NOT NULL, 
	answer TEXT NOT NULL, 
	CONSTRAINT pk_channels_off PRIMARY KEY (contact, channel)
);
CREATE TABLE deliveries (
	number INTEGER NOT NULL, 
	id VARCHAR(64) NOT NULL, 
	notice VARCHAR(64) NOT NULL, 
	contact TEXT NOT NULL, 
	channel VARCHAR(64) NOT NULL, 
	airfield VARCHAR(64) NOT NULL, 
	urgent BOOLEAN NOT NULL, 
	created_at BIGINT NOT NULL, 
	valid_until BIGINT NOT NULL, 
	state VARCHAR(16) NOT NULL, 
	open_rank SMALLINT, 
	due_at BIGINT, 
	attempt INTEGER NOT NULL, 
	tries INTEGER NOT NULL, 
	lease_until BIGINT, 
	accepted_at BIGINT, 
	last_answer TEXT NOT NULL, 
	plain BOOLEAN NOT NULL, 
	fall_back BOOLEAN NOT NULL, 
	unreached BOOLEAN NOT NULL, 
	replaced_by VARCHAR(64) NOT NULL, 
	CONSTRAINT pk_deliveries PRIMARY KEY (number), 
	CONSTRAINT fk_deliveries_notice FOREIGN KEY(notice) REFERENCES notices (id), 
	CONSTRAINT uq_deliveries_id UNIQUE (id)
);
INSERT INTO "deliveries" VALUES(1,'547f8a889b3fad658906c76f','646c32f7cdac604de9e9b329','owner of X-WREN','email','XLKS',1,1790104140000,1790108640000,'accepted',NULL,NULL,1,1,NULL,1790104140000,'250 taken',0,0,0,'');
INSERT INTO "deliveries" VALUES(2,'ab728a5411919f0a704ff68e','646c32f7cdac604de9e9b329','owner of X-WREN','webhook','XLKS',1,1790104140000,1790108640000,'waiting',0,1790104145000,1,1,NULL,NULL,'503 later',0,0,0,'');
CREATE TABLE episodes (
	number INTEGER NOT NULL, 
	id VARCHAR(64) NOT NULL, 
	track TEXT NOT NULL, 
	airfield VARCHAR(64) NOT NULL, 
	opened_at BIGINT NOT NULL, 
	opened_by VARCHAR(64) NOT NULL, 
	closed_at BIGINT, 
	closing TEXT NOT NULL, 
	worst TEXT NOT NULL, 
	last_step VARCHAR(64) NOT NULL, 
	CONSTRAINT pk_episodes PRIMARY KEY (number), 
	CONSTRAINT uq_episodes_id UNIQUE (id)
);
INSERT INTO "episodes" VALUES(1,'episode-1','ground/XLKS/X-WREN//tie_down','XLKS',1790104020000,'58185de670d9547db52ad018',NULL,'','{"quantity":"tie_down","figure":41.0,"limit":{"quantity":"tie_down","value":22.0,"whose":"X-WREN","of":"gust","near_at":0.8,"confirm_reports":1},"level":2,"nominal":41.0,"cause":0,"at_least":false,"low":false,"near_low":false}','opened');
CREATE TABLE events (
	number INTEGER NOT NULL, 
	kind VARCHAR(16) NOT NULL, 
	at BIGINT NOT NULL, 
	detail TEXT NOT NULL, 
	CONSTRAINT pk_events PRIMARY KEY (number)
);
INSERT INTO "events" VALUES(1,'report',1790104140000,'{"airfield":"XLKS","reports":[{"id":"58185de670d9547db52ad018","status":"accepted"}]}');
CREATE TABLE meta (
	"key" VARCHAR(64) NOT NULL, 
	value TEXT NOT NULL, 
	CONSTRAINT pk_meta PRIMARY KEY ("key")
);
CREATE TABLE notice_steps (
	contact TEXT NOT NULL, 
	step VARCHAR(64) NOT NULL, 
	notice VARCHAR(64) NOT NULL, 
	CONSTRAINT pk_notice_steps PRIMARY KEY (contact, step), 
	CONSTRAINT fk_notice_steps_notice FOREIGN KEY(notice) REFERENCES notices (id)
);
INSERT INTO "notice_steps" VALUES('owner of X-WREN','d8fcd08e340250f8d2ff4fa3','646c32f7cdac604de9e9b329');
CREATE TABLE notices (
	number INTEGER NOT NULL, 
	id VARCHAR(64) NOT NULL, 
	contact TEXT NOT NULL, 
	airfield VARCHAR(64) NOT NULL, 
	at BIGINT NOT NULL, 
	kind VARCHAR(16) NOT NULL, 
	urgent BOOLEAN NOT NULL, 
	valid_until BIGINT NOT NULL, 
	notice TEXT NOT NULL, 
	content TEXT NOT NULL, 
	CONSTRAINT pk_notices PRIMARY KEY (number), 
	CONSTRAINT uq_notices_id UNIQUE (id)
);
INSERT INTO "notices" VALUES(1,'646c32f7cdac604de9e9b329','owner of X-WREN','XLKS',1790104140000,'alert',1,1790108640000,'{"id":"646c32f7cdac604de9e9b329","contact":"owner of X-WREN","airfield":"XLKS","at":"2026-09-22T19:09:00+00:00","kind":"alert","steps":[{"id":"d8fcd08e340250f8d2ff4fa3","episode":"episode-1","name":"opened","track":{"kind":"ground","airfield":"XLKS","aircraft":"X-WREN","pilot_limits":"","quantity":"tie_down"},"at":"2026-09-22T19:09:00+00:00","level":2,"finding":{"quantity":"tie_down","figure":41.0,"limit":{"quantity":"tie_down","value":22.0,"whose":"X-WREN","of":"gust","near_at":0.8,"confirm_reports":1},"level":2,"nominal":41.0,"cause":0,"at_least":false,"low":false,"near_low":false},"end":"","runway":"","remaining":[],"since":"2026-09-22T19:07:00+00:00","worst":{"quantity":"tie_down","figure":41.0,"limit":{"quantity":"tie_down","value":22.0,"whose":"X-WREN","of":"gust","near_at":0.8,"confirm_reports":1},"level":2,"nominal":41.0,"cause":0,"at_least":false,"low":false,"near_low":false},"reports":[{"id":"58185de670d9547db52ad018","station":"XLKS","kind":"SPECI","observed_at":"2026-09-22T19:07:00+00:00","received_at":"2026-09-22T19:09:00+00:00","raw":"SPECI XLKS 221907Z 30028G41KT 2SM +TSRA SQ BR BKN028CB OVC070 22/19 A2972","fall_back":false,"corrected":false}],"ended_at":null,"reason":"41.0 kt > 22 kt in one report","affected":[{"kind":"ground","airfield":"XLKS","aircraft":"X-WREN","pilot_limits":"","quantity":"tie_down"}]}],"urgent":true,"valid_until":"2026-09-22T20:24:00+00:00","references":[],"late_because":"","replaces":[]}','{"subject":"XLKS 1907Z 300° 28 G41 kt: tie-down X-WREN 41 > 22","text":"XLKS 1907Z 300° 28 G41 kt: tie-down X-WREN 41 > 22\n\nSecure X-WREN now.\n","html":"<p>XLKS 1907Z 300° 28 G41 kt: tie-down X-WREN 41 > 22</p><p>Secure X-WREN now.</p>","payload":{"subject":"XLKS 1907Z 300° 28 G41 kt: tie-down X-WREN 41 > 22","airfield":"XLKS","figure_kt":41.0}}');
CREATE TABLE reports (
	number INTEGER NOT NULL, 
	id VARCHAR(64) NOT NULL, 
	station VARCHAR(64) NOT NULL, 
	kind VARCHAR(16) NOT NULL, 
	observed_at BIGINT, 
	received_at BIGINT NOT NULL, 
	raw TEXT NOT NULL, 
	source VARCHAR(64) NOT NULL, 
	status VARCHAR(16) NOT NULL, 
	reason TEXT NOT NULL, 
	CONSTRAINT pk_reports PRIMARY KEY (number), 
	CONSTRAINT uq_reports_id UNIQUE (id)
);
INSERT INTO "reports" VALUES(1,'58185de670d9547db52ad018','XLKS','SPECI',1790104020000,1790104140000,'SPECI XLKS 221907Z 30028G41KT 2SM +TSRA SQ BR BKN028CB OVC070 22/19 A2972','awc','accepted','');
CREATE TABLE settings_seen (
	number INTEGER NOT NULL, 
	fingerprint VARCHAR(64) NOT NULL, 
	at BIGINT NOT NULL, 
	detail TEXT NOT NULL, 
	CONSTRAINT pk_settings_seen PRIMARY KEY (number)
);
INSERT INTO "settings_seen" VALUES(1,'f1',1790104140000,'{"files":["larkspur.toml"]}');
CREATE TABLE steps (
	number INTEGER NOT NULL, 
	id VARCHAR(64) NOT NULL, 
	episode VARCHAR(64) NOT NULL, 
	name VARCHAR(32) NOT NULL, 
	track_kind VARCHAR(16) NOT NULL, 
	airfield VARCHAR(64) NOT NULL, 
	aircraft TEXT NOT NULL, 
	pilot_limits TEXT NOT NULL, 
	quantity TEXT NOT NULL, 
	at BIGINT NOT NULL, 
	step TEXT NOT NULL, 
	CONSTRAINT pk_steps PRIMARY KEY (number), 
	CONSTRAINT uq_steps_id UNIQUE (id)
);
INSERT INTO "steps" VALUES(1,'d8fcd08e340250f8d2ff4fa3','episode-1','opened','ground','XLKS','X-WREN','','tie_down',1790104140000,'{"id":"d8fcd08e340250f8d2ff4fa3","episode":"episode-1","name":"opened","track":{"kind":"ground","airfield":"XLKS","aircraft":"X-WREN","pilot_limits":"","quantity":"tie_down"},"at":"2026-09-22T19:09:00+00:00","level":2,"finding":{"quantity":"tie_down","figure":41.0,"limit":{"quantity":"tie_down","value":22.0,"whose":"X-WREN","of":"gust","near_at":0.8,"confirm_reports":1},"level":2,"nominal":41.0,"cause":0,"at_least":false,"low":false,"near_low":false},"end":"","runway":"","remaining":[],"since":"2026-09-22T19:07:00+00:00","worst":{"quantity":"tie_down","figure":41.0,"limit":{"quantity":"tie_down","value":22.0,"whose":"X-WREN","of":"gust","near_at":0.8,"confirm_reports":1},"level":2,"nominal":41.0,"cause":0,"at_least":false,"low":false,"near_low":false},"reports":[{"id":"58185de670d9547db52ad018","station":"XLKS","kind":"SPECI","observed_at":"2026-09-22T19:07:00+00:00","received_at":"2026-09-22T19:09:00+00:00","raw":"SPECI XLKS 221907Z 30028G41KT 2SM +TSRA SQ BR BKN028CB OVC070 22/19 A2972","fall_back":false,"corrected":false}],"ended_at":null,"reason":"41.0 kt > 22 kt in one report","affected":[{"kind":"ground","airfield":"XLKS","aircraft":"X-WREN","pilot_limits":"","quantity":"tie_down"}]}');
CREATE INDEX ix_acknowledgements_episode ON acknowledgements (episode);
CREATE INDEX ix_episodes_closed_at ON episodes (closed_at);
CREATE INDEX ix_events_at ON events (at);
CREATE INDEX ix_notices_at ON notices (at);
CREATE INDEX ix_notices_contact_airfield_at ON notices (contact, airfield, at);
CREATE INDEX ix_reports_received_at ON reports (received_at);
CREATE INDEX ix_reports_station_observed_at ON reports (station, observed_at);
CREATE INDEX ix_steps_at ON steps (at);
CREATE INDEX ix_steps_episode ON steps (episode);
CREATE INDEX ix_deliveries_contact_channel_airfield_open_rank_number ON deliveries (contact, channel, airfield, open_rank, number);
CREATE INDEX ix_deliveries_notice ON deliveries (notice);
CREATE INDEX ix_deliveries_open_rank_number ON deliveries (open_rank, number);
CREATE INDEX ix_deliveries_unreached ON deliveries (contact, channel, airfield) WHERE unreached = 1;
CREATE INDEX ix_notice_steps_notice ON notice_steps (notice);
COMMIT;
