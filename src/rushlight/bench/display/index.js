import {fill} from "./texts.js";

fill();
