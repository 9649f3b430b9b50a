// Every text of the instructor's console that is not told by the class's window, by key; {name} is filled in. The texts:
// site/words/LANGUAGE.toml.

import { sayer } from "./language.mjs";

export const say = sayer("desk");
