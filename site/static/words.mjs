// Every sentence that the page's own scripts show, by key; {name} is filled in. The texts: site/words/LANGUAGE.toml.

import { sayer } from "./language.mjs";

export const say = sayer("script");
