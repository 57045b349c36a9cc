-- Which language a screen speaks: the salon's, or that of the person signed in.
-- Tags of BCP 47; a new language is a new catalogue in shared/words and a new value here.

alter table salon add column language text not null default 'en';
alter table salon add constraint salon_language_known check (language in ('en', 'es'));
grant update (language) on salon to rinsebell_app;

alter table person add column language text;
alter table person add constraint person_language_known check (language in ('en', 'es'));
grant update (language) on person to rinsebell_app;
