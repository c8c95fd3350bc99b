//! Every problem that a file can have: one table, from which `corymb explain` prints.

/// What is known about a kind of problem.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CodeEntry {
    /// The kind.
    pub code: Code,
    /// One line that says what is wrong.
    pub title: &'static str,
    /// How it usually comes about.
    pub cause: &'static str,
    /// What to do about it.
    pub action: &'static str,
    /// A piece of a file that has the problem.
    pub bad_example: &'static str,
}

macro_rules! codes {
    ($($variant:ident $id:literal { $title:literal, cause: $cause:literal, action: $action:literal, bad: $bad:literal })*) => {
        /// A kind of problem, with a name that stays the same from version to version.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum Code {
            $(#[doc = $title] $variant,)*
        }

        impl Code {
            /// The stable name, as printed and as `explain` takes it.
            #[must_use]
            pub fn id(self) -> &'static str {
                match self {
                    $(Code::$variant => $id,)*
                }
            }

            /// What is known about this kind of problem.
            #[must_use]
            pub fn entry(self) -> &'static CodeEntry {
                match self {
                    $(Code::$variant => {
                        static ENTRY: CodeEntry = CodeEntry {
                            code: Code::$variant, title: $title, cause: $cause, action: $action, bad_example: $bad,
                        };
                        &ENTRY
                    })*
                }
            }
        }

        /// Every kind of problem, in the order of the table.
        static ALL: &[Code] = &[$(Code::$variant,)*];
    };
}

/// Every kind of problem, in the order of the table.
#[must_use]
pub fn all_codes() -> &'static [Code] {
    ALL
}

/// The entry of a code by its stable name, or `None` where there is no such code.
#[must_use]
pub fn explain(code: &str) -> Option<&'static CodeEntry> {
    ALL.iter().find(|c| c.id() == code).map(|c| c.entry())
}

codes! {
    // Folders, files and bytes
    FolderMissing "folder-missing" {
        "The folder does not exist or is not a folder.",
        cause: "The path is misspelt, or it names a file.",
        action: "Give the path of the folder that holds run.json.",
        bad: "corymb run runs/row_12_typo --out out"
    }
    FileMissing "file-missing" {
        "A file that is needed is not there.",
        cause: "The folder is incomplete, or the file has another name.",
        action: "Put the file there; it may be plain or end in .gz or .zst.",
        bad: "a run folder without run.json"
    }
    FileTwice "file-twice" {
        "The same file is there in more than one packing.",
        cause: "A file was compressed and the plain one left beside it; they may differ.",
        action: "Leave exactly one of them in the folder.",
        bad: "frames.jsonl beside frames.jsonl.gz"
    }
    FileUnreadable "file-unreadable" {
        "The file is there but cannot be read.",
        cause: "It is a folder, access is denied, or the disk failed.",
        action: "Check the path, the access rights and the disk.",
        bad: "run.json is a folder"
    }
    FileEmpty "file-empty" {
        "The file holds nothing.",
        cause: "The program that writes it stopped before its first record.",
        action: "Write the file again; leave an optional file out rather than empty.",
        bad: "frames.jsonl of 0 bytes"
    }
    FileTooLarge "file-too-large" {
        "The unpacked file is larger than the limit.",
        cause: "Far too many records, or a damaged or malicious compressed file.",
        action: "Split the run into smaller ones.",
        bad: "a few kilobytes of .zst that unpack to terabytes"
    }
    LineTooLong "line-too-long" {
        "A line is longer than the limit.",
        cause: "Line breaks are missing: one record must stand on one line.",
        action: "Write one record a line, each ended by a line break.",
        bad: "all frames as one JSON array in frames.jsonl"
    }
    TooManyRecords "too-many-records" {
        "There are more records than the limit.",
        cause: "Several runs in one file, or a writer in an endless loop.",
        action: "Split the run into smaller ones.",
        bad: "frames.jsonl with billions of lines"
    }
    NestingTooDeep "nesting-too-deep" {
        "Values are nested deeper than the limit.",
        cause: "A damaged or malicious file; nothing in the formats needs more than a few levels.",
        action: "Remove the nested value.",
        bad: "{\"x_note\": [[[[[[[[[[ ... ]]]]]]]]]]}"
    }
    GzipDamaged "gzip-damaged" {
        "The gzip file cannot be unpacked.",
        cause: "It was cut off while copying, is damaged, or is no gzip file at all.",
        action: "Copy or write it again.",
        bad: "the first half of frames.jsonl.gz"
    }
    ZstdDamaged "zstd-damaged" {
        "The zstd file cannot be unpacked.",
        cause: "It was cut off while copying, is damaged, or is no zstd file at all.",
        action: "Copy or write it again.",
        bad: "the first half of frames.jsonl.zst"
    }
    NotUtf8 "not-utf8" {
        "The file is not UTF-8 text.",
        cause: "It was written in another encoding, or it is compressed without saying so in its name.",
        action: "Write it as UTF-8; let the names of compressed files end in .gz or .zst.",
        bad: "a name with umlauts in Latin-1"
    }
    ByteOrderMark "byte-order-mark" {
        "The file begins with a byte order mark.",
        cause: "Some editors put three invisible bytes in front of UTF-8 text.",
        action: "Save it as UTF-8 without a byte order mark.",
        bad: "EF BB BF before the first brace"
    }
    // Grammar
    JsonSyntax "json-syntax" {
        "This is not JSON.",
        cause: "A comma, quote or bracket is missing or one too many.",
        action: "Correct it at the place named.",
        bad: "{\"version\": 1,}"
    }
    JsonTruncated "json-truncated" {
        "The JSON ends in the middle.",
        cause: "The writer was interrupted, or the file was cut off while copying.",
        action: "Write or copy it again, or remove the incomplete last line.",
        bad: "{\"frame\": \"low-00000\", \"camera\": \"lo"
    }
    TomlSyntax "toml-syntax" {
        "This is not TOML.",
        cause: "A quote, bracket or equals sign is missing or one too many.",
        action: "Correct it at the place named.",
        bad: "keep_at_most 1"
    }
    KeyTwice "key-twice" {
        "A field stands twice in the same object.",
        cause: "Copying; one of the two would be lost silently.",
        action: "Leave one of them.",
        bad: "{\"score\": 0.9, \"score\": 0.8}"
    }
    // Fields and their types
    VersionMissing "version-missing" {
        "The file does not say its version.",
        cause: "The field `version` was forgotten.",
        action: "Add \"version\": 1 (JSON) or version = 1 (TOML) at the top.",
        bad: "{\"name\": \"row 12\"}"
    }
    VersionNewer "version-newer" {
        "The file is of a newer version than this program reads.",
        cause: "It was written for a later program.",
        action: "Use a newer corymb, or write the file as version 1.",
        bad: "{\"version\": 2}"
    }
    VersionWrong "version-wrong" {
        "The version is no version.",
        cause: "It is not a whole number from 1 upwards.",
        action: "Write the number 1.",
        bad: "{\"version\": \"1.0\"}"
    }
    FieldUnknown "field-unknown" {
        "There is no such field.",
        cause: "A typing error, or a field of one's own without the prefix.",
        action: "Correct the name; let fields of your own begin with x_.",
        bad: "{\"widht_px\": 2048}"
    }
    FieldMissing "field-missing" {
        "A field that is needed is not there.",
        cause: "It was forgotten, or its name is misspelt.",
        action: "Add it.",
        bad: "a camera without focal_px"
    }
    TypeWrong "type-wrong" {
        "A value is of the wrong type.",
        cause: "Text in place of a number, a number in place of a list, a fraction in place of a whole number.",
        action: "Write the value as expected.",
        bad: "{\"width_px\": \"2048\"}"
    }
    LengthWrong "length-wrong" {
        "A list has the wrong number of entries.",
        cause: "A coordinate is missing or one too many.",
        action: "Write as many entries as expected.",
        bad: "{\"translation_m\": [0.0, 1.5]}"
    }
    ValueUnknown "value-unknown" {
        "A word is none of those allowed here.",
        cause: "A typing error.",
        action: "Use one of the words listed.",
        bad: "{\"kind\": \"leeder\"}"
    }
    NumberNotFinite "number-not-finite" {
        "A number is not finite.",
        cause: "NaN, infinity, or a number too large to be held.",
        action: "Write a finite number; leave an optional field out where the value is unknown.",
        bad: "{\"depth_m\": NaN}"
    }
    NumberOutOfRange "number-out-of-range" {
        "A number is outside the range that makes sense here.",
        cause: "A wrong unit, or a typing error.",
        action: "Write a number within the range; check the unit in the field's name.",
        bad: "{\"stage_bbch\": 710}"
    }
    NotPositive "not-positive" {
        "A number must be greater than zero.",
        cause: "Zero or a negative number stands for `unknown`.",
        action: "Write the measured value; leave an optional field out where it is unknown.",
        bad: "{\"depth_m\": 0.0}"
    }
    Negative "negative" {
        "A number must not be negative.",
        cause: "A wrong sign.",
        action: "Write zero or more.",
        bad: "{\"box_edge_px\": -1.5}"
    }
    ShareRange "share-range" {
        "A share or probability is outside 0 to 1.",
        cause: "Often a percentage.",
        action: "Write it as a number from 0 to 1.",
        bad: "act_above = 70"
    }
    TextEmpty "text-empty" {
        "A name is empty.",
        cause: "An id was not filled in.",
        action: "Give it a name.",
        bad: "{\"id\": \"\"}"
    }
    DateMalformed "date-malformed" {
        "The date is not written as ISO 8601 has it.",
        cause: "Another order of day, month and year.",
        action: "Write year-month-day, with the time after a T where there is one.",
        bad: "{\"date\": \"03.06.2026\"}"
    }
    // Names that refer to one another
    IdTwice "id-twice" {
        "An id is used twice among its kind.",
        cause: "Copying, or two files joined.",
        action: "Give each its own id.",
        bad: "two frames named low-00000"
    }
    CameraUnknown "camera-unknown" {
        "No camera has this id.",
        cause: "run.json does not list the camera, or the id is misspelt.",
        action: "Use an id of run.json's cameras.",
        bad: "{\"camera\": \"lwo\"}"
    }
    LabelUnknown "label-unknown" {
        "The detector's label is not in run.json's classes.",
        cause: "A new label of the detector, or a typing error.",
        action: "Add the label to classes in run.json; map it to \"ignore\" where it is of no use.",
        bad: "{\"class\": \"fruitlett\"}"
    }
    RowUnknown "row-unknown" {
        "No row has this id.",
        cause: "orchard.json does not list the row, or the id is misspelt.",
        action: "Use an id of orchard.json's rows.",
        bad: "{\"id\": \"tree01\", \"row\": \"rwo1\"}"
    }
    TreeUnknown "tree-unknown" {
        "No tree has this id.",
        cause: "orchard.json does not list the tree, or the id is misspelt.",
        action: "Use an id of orchard.json's trees.",
        bad: "{\"id\": \"f00001\", \"tree\": \"tere01\"}"
    }
    LimbUnknown "limb-unknown" {
        "No limb of that tree has this id.",
        cause: "orchard.json does not list the limb at this tree, or the id is misspelt.",
        action: "Use an id of that tree's limbs in orchard.json.",
        bad: "{\"tree\": \"tree01\", \"limb\": \"tree02.limb03\"}"
    }
    FrameUnknown "frame-unknown" {
        "No frame has this id.",
        cause: "The file belongs to another run.",
        action: "Use the file that belongs to this run.",
        bad: "{\"detections\": {\"low-99999\": [null]}}"
    }
    DetectionUnknown "detection-unknown" {
        "The frame has no detection of this number.",
        cause: "The file belongs to another run, or numbers were counted from 1.",
        action: "Count detections from 0, in the order of the frame's line.",
        bad: "[\"low-00000\", 400, \"fruitlet\"]"
    }
    FruitletUnknown "fruitlet-unknown" {
        "No fruitlet has this id.",
        cause: "The files are not of one run, or the id is misspelt.",
        action: "Use an id of the fruitlets listed.",
        bad: "{\"low-00000\": [\"f99999\"]}"
    }
    ClusterUnknown "cluster-unknown" {
        "No cluster has this id.",
        cause: "The files are not of one run, or the id is misspelt.",
        action: "Use the files of one and the same output.",
        bad: "{\"fruitlet\": \"f00001\", \"cluster\": \"c9999\"}"
    }
    ToolUnknown "tool-unknown" {
        "No tool or arm has this name.",
        cause: "The orders were made with another arm file.",
        action: "Give the arm file that the orders were made with.",
        bad: "{\"tool\": \"cup 40 mm\"}"
    }
    DetectionsLength "detections-length" {
        "Truth lists more or fewer detections of a frame than the frame has.",
        cause: "Truth belongs to another version of the run.",
        action: "Label the run anew, or use the frames that were labelled.",
        bad: "41 labels for a frame of 43 boxes"
    }
    TruthEmpty "truth-empty" {
        "Truth states nothing that could be compared.",
        cause: "Only objects or left-out regions are listed, or nothing.",
        action: "Give at least one of fruitlets, detections, boxes and counts.",
        bad: "{\"version\": 1, \"objects\": [{\"id\": \"a1\"}]}"
    }
    CountUnclear "count-unclear" {
        "A count must name exactly one place.",
        cause: "None or several of tree, row and block are given, or block is false.",
        action: "Write one entry for each tree and row, and \"block\": true for everything.",
        bad: "{\"tree\": \"tree01\", \"block\": true, \"fruitlets\": 180}"
    }
    CountTwice "count-twice" {
        "The same place is counted twice.",
        cause: "Copying, or counts of two days.",
        action: "Leave one of the counts.",
        bad: "two entries for tree01"
    }
    TrialContradicts "trial-contradicts" {
        "A trial contradicts itself.",
        cause: "A slip in the protocol: what is enclosed was reached, what is cut was reached and enclosed.",
        action: "Correct the observation that is wrong; leave empty what nobody saw.",
        bad: "o000012 with reached no, enclosed yes"
    }
    BoxClaimedTwice "box-claimed-twice" {
        "Two fruitlets claim the same box.",
        cause: "The map was put together from two.",
        action: "Let each box be claimed once at most.",
        bad: "[\"low-00000\", 3, \"fruitlet\"] at f00001 and f00002"
    }
    // Cameras, poses and times
    ListEmpty "list-empty" {
        "A list that needs an entry has none.",
        cause: "It was not filled in.",
        action: "Add at least one entry.",
        bad: "{\"cameras\": []}"
    }
    SizeZero "size-zero" {
        "The image has no pixels.",
        cause: "Width or height is 0.",
        action: "Write the size of the images in pixels.",
        bad: "{\"width_px\": 0}"
    }
    FocalNotPositive "focal-not-positive" {
        "A focal length is not greater than zero.",
        cause: "Not calibrated, or written with a sign.",
        action: "Write the focal lengths in pixels along x and y.",
        bad: "{\"focal_px\": [1500.0, -1500.0]}"
    }
    DistortionCount "distortion-count" {
        "The number of distortion coefficients does not fit the model.",
        cause: "Coefficients of another model, or trailing zeros left out.",
        action: "none: 0, plumb_bob: 5, rational_polynomial: 8, equidistant: 4.",
        bad: "{\"model\": \"plumb_bob\", \"coefficients\": [-0.1, 0.06]}"
    }
    QuaternionNorm "quaternion-norm" {
        "The quaternion is not of unit length.",
        cause: "Rounding too coarse, w left out, or angles written in place of a quaternion.",
        action: "Write x, y, z, w with x^2 + y^2 + z^2 + w^2 = 1 (to 0.001 of the length).",
        bad: "{\"quaternion_xyzw\": [0.0, 0.0, 0.7, 0.0]}"
    }
    DirectionNorm "direction-norm" {
        "The direction is not of unit length.",
        cause: "Rounding too coarse, or a point written in place of a direction.",
        action: "Divide it by its length.",
        bad: "{\"axis\": [0.0, 0.0, -0.5]}"
    }
    DirectionZero "direction-zero" {
        "The direction has no length.",
        cause: "Zeros stand for `unknown`.",
        action: "Leave the field out where the direction is unknown.",
        bad: "{\"axis_px\": [0.0, 0.0]}"
    }
    TimeGoesBack "time-goes-back" {
        "A pose is not later than the one before it.",
        cause: "Two logs joined, a clock set back, or a line twice.",
        action: "Sort poses.jsonl by time and leave each time once.",
        bad: "time_s 12.10 after 12.15"
    }
    PoseMissing "pose-missing" {
        "An image has no pose, and there is no poses.jsonl.",
        cause: "The localisation's log was not exported.",
        action: "Add orchard_from_rig to the frame, or poses.jsonl to the folder.",
        bad: "{\"frame\": \"low-00000\", \"camera\": \"low\", \"time_s\": 0.0, \"detections\": []}"
    }
    PoseDiffers "pose-differs" {
        "Images of one time and pass state different rig poses.",
        cause: "Poses were interpolated a camera at a time, or the pass is not stated.",
        action: "State one rig pose for one time; name the pass where times repeat.",
        bad: "low-00000 and mid-00000 at 0.0 s, 10 cm apart"
    }
    // Detections
    BoxInverted "box-inverted" {
        "The box's corners are in the wrong order.",
        cause: "Corners swapped, or width and height written in place of the second corner.",
        action: "Write x0, y0, x1, y1 with x0 < x1 and y0 < y1.",
        bad: "{\"box_px\": [320.0, 40.0, 300.0, 60.0]}"
    }
    BoxEmpty "box-empty" {
        "The box has no width or no height.",
        cause: "A detector rounded a thin box to whole pixels.",
        action: "Leave the detection out, or write the box without rounding.",
        bad: "{\"box_px\": [300.0, 40.0, 300.0, 60.0]}"
    }
    BoxOutside "box-outside" {
        "The box lies outside the image by more than a tenth of the image.",
        cause: "The detector worked on an image of another size, or boxes are of another camera.",
        action: "Scale the boxes to the image size of run.json.",
        bad: "{\"box_px\": [2900.0, 40.0, 2930.0, 60.0]} in an image 2048 wide"
    }
    ScoreRange "score-range" {
        "A score is outside 0 to 1.",
        cause: "Often a percentage, or a raw output of the detector.",
        action: "Write scores from 0 to 1.",
        bad: "{\"score\": 97.0}"
    }
    // Orchard
    LimbTooShort "limb-too-short" {
        "A limb needs two points that differ.",
        cause: "It has fewer than two points, or all are the same.",
        action: "Write its points from base to tip.",
        bad: "{\"points_m\": [[0.0, 0.0, 1.0]], \"radii_mm\": [12.0]}"
    }
    RadiiCount "radii-count" {
        "A limb has not one radius a point.",
        cause: "Points were thinned out, radii were not.",
        action: "Write as many radii as points.",
        bad: "7 points, 6 radii"
    }
    // Policy, tool and arm
    TargetNone "target-none" {
        "The target states no bound.",
        cause: "All fields of [target] are left out.",
        action: "State at least one of fruit_per_cm2_trunk, fruit_per_tree, fruit_per_cm2_limb.",
        bad: "[target] without a field"
    }
    PinUnclear "pin-unclear" {
        "A pin must name exactly one thing.",
        cause: "None or several of fruitlet, cluster, limb and tree are given.",
        action: "Write one [[pin]] for each thing.",
        bad: "[[pin]] with fruitlet and tree"
    }
    PinConflict "pin-conflict" {
        "The same thing is pinned twice.",
        cause: "Copying; the two may contradict each other.",
        action: "Leave one of the pins.",
        bad: "f00012 pinned as keep and as remove"
    }
    ToolWall "tool-wall" {
        "The enclosure's outer diameter is not greater than the inner one.",
        cause: "The two are swapped, or one is a radius.",
        action: "Write both as diameters; the outer one is the larger.",
        bad: "inner_diameter_mm = 36.0, outer_diameter_mm = 32.0"
    }
    CutPlaneOutside "cut-plane-outside" {
        "The cutting plane does not lie within the enclosure.",
        cause: "A wrong sign: the enclosure lies at z from -length to 0.",
        action: "Write cut_offset_mm from -length_mm to 0.",
        bad: "cut_offset_mm = 3.0"
    }
    CutReachMissing "cut-reach-missing" {
        "A tool that encloses the keeper needs cut_reach_mm.",
        cause: "Without it the ring that the blade sweeps has no width.",
        action: "Add cut_reach_mm, the width of the swept ring outside the outer wall.",
        bad: "action = \"enclose_keeper\" without cut_reach_mm"
    }
    BoundsInverted "bounds-inverted" {
        "A lower bound is not below the upper bound.",
        cause: "low_m and high_m are swapped along an axis.",
        action: "Write low_m below high_m along each axis.",
        bad: "low_m = [0.6, 0, 0], high_m = [-0.6, 1, 1]"
    }
    ReachIncomplete "reach-incomplete" {
        "reach_direction and reach_within_deg belong together.",
        cause: "One of them is given alone.",
        action: "Give both, or neither where the tool may point anywhere.",
        bad: "reach_direction without reach_within_deg"
    }
    ArmMissing "arm-missing" {
        "There are further arms but no first one.",
        cause: "[[extra_arm]] is given without [arm].",
        action: "Name the first arm [arm].",
        bad: "[[extra_arm]] alone"
    }
    // Output folders
    InputsDiffer "inputs-differ" {
        "The output was made from other inputs.",
        cause: "An input was changed after the run, or the output is of another run.",
        action: "Run again, or give the files that the output was made from.",
        bad: "map.json of yesterday with the frames of today"
    }
    // Scores
    NothingInCommon "nothing-in-common" {
        "Two scores have no tree and no cluster in common.",
        cause: "They are of different runs; units are paired by the name of their run and their own name.",
        action: "Compare scores of the same runs; keep several runs of a variant in subfolders of the same names.",
        bad: "corymb compare scores_of_block_a scores_of_block_b"
    }
    PlacementDiffers "placement-differs" {
        "The common shift was taken away in one score and not in the other.",
        cause: "One of the maps has too few fruitlets that labelled boxes identify to tell its common shift.",
        action: "Score with a truth that labels enough boxes to tell the shift of both, or of neither.",
        bad: "placement shift_removed in one scores.json, absolute in the other"
    }
}
